"""/v1/quantities, /v1/methods, /v1/lots"""

from uuid import UUID

from fastapi import APIRouter
from sqlmodel import Session

from service.access.caller import Scope
from service.errors import Malformed
from service.resources.catalogue.lots.actions import LOTS
from service.resources.catalogue.methods.actions import METHODS
from service.resources.catalogue.quantities.routes import router as quantities
from service.resources.keeping.thing_routes import thing_routes

router = APIRouter()
router.include_router(quantities)


def _no_site(_session: Session, _scope: Scope, _text: str) -> UUID:
    raise Malformed("The catalogue is shared by all sites; leave `site` out.")


for thing in (METHODS, LOTS):
    router.include_router(thing_routes(thing, site_named=_no_site))
