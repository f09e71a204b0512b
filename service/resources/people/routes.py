"""/v1/people, /v1/tokens, /v1/sessions, /v1/devices, and the page that signs in"""

from __future__ import annotations

from fastapi import APIRouter

from service.resources.people.devices.routes import device_routes
from service.resources.people.persons.routes import person_routes
from service.resources.people.sessions.routes import router as sessions
from service.resources.people.sites import SiteNamed
from service.resources.people.tokens.routes import token_routes


def people_routes(site_named: SiteNamed) -> APIRouter:
    """The routes under /v1; `site_named` resolves a site's tag or id within a scope, places lie above people."""
    router = APIRouter()
    router.include_router(person_routes(site_named))
    router.include_router(token_routes(site_named))
    router.include_router(sessions)
    router.include_router(device_routes(site_named))
    return router
