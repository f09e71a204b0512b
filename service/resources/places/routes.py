"""/v1/sites, /v1/rooms, /v1/systems, /v1/tanks, /v1/set-points"""

from fastapi import APIRouter

from service.resources.keeping.record_routes import record_routes
from service.resources.keeping.thing_routes import thing_routes
from service.resources.places.rooms.actions import ROOMS
from service.resources.places.set_points.actions import SET_POINTS
from service.resources.places.sites.actions import SITES
from service.resources.places.sites.queries import id_named
from service.resources.places.systems.actions import SYSTEMS
from service.resources.places.tanks.actions import TANKS

router = APIRouter()
for thing in (SITES, ROOMS, SYSTEMS, TANKS):
    router.include_router(thing_routes(thing, site_named=id_named))
router.include_router(record_routes(SET_POINTS, site_named=id_named))
