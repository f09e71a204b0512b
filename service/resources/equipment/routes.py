"""/v1/equipment (with swap), /v1/installations, /v1/gas-lines, /v1/feeds"""

from fastapi import APIRouter

from service.resources.equipment.feeds.actions import FEEDS
from service.resources.equipment.gas_lines.actions import GAS_LINES
from service.resources.equipment.gas_lines.routes import router as swap
from service.resources.equipment.installations.actions import INSTALLATIONS
from service.resources.equipment.pieces.actions import PIECES
from service.resources.keeping.thing_routes import thing_routes
from service.resources.places.sites.queries import id_named

router = APIRouter()
for thing in (PIECES, INSTALLATIONS, GAS_LINES, FEEDS):
    router.include_router(thing_routes(thing, site_named=id_named))
router.include_router(swap)
