"""The app: the only module that knows every part of the service."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import cache

from fastapi import APIRouter, Depends, FastAPI
from fastapi.middleware.gzip import GZipMiddleware

from service import __version__
from service.access.passwords import Hasher
from service.computations.routes import router as computations
from service.http import description, health, logs, pages, problem_pages, problems, security
from service.http.caller import Clock, Gate, now, refuse_unknown_parameters
from service.reports.handover.routes import router as handover
from service.reports.weekly.routes import router as weekly
from service.resources.catalogue.routes import router as catalogue
from service.resources.equipment.routes import router as equipment
from service.resources.people.account import account_routes
from service.resources.people.devices.pages import router as device
from service.resources.people.routes import people_routes
from service.resources.people.sessions.pages import router as sign_in
from service.resources.places.routes import router as places
from service.resources.places.sites.queries import id_named
from service.resources.records.routes import router as records
from service.settings import Settings
from service.storage.database import Database
from service.transfer.routes import router as transfer
from service.web.pages import install_refusals
from service.web.phone.routes import router as phone
from service.web.routes import router as web

ROUTERS: tuple[APIRouter, ...] = (
    catalogue,
    people_routes(id_named),
    places,
    equipment,
    records,
    transfer,
    computations,
    weekly,
    handover,
)
UNVERSIONED: tuple[APIRouter, ...] = (
    health.router,
    problem_pages.router,
    sign_in,
    account_routes(id_named),
    device,
    pages.router,
)


def create_app(settings: Settings | None = None, *, database: Database | None = None, clock: Clock = now) -> FastAPI:
    """The ASGI app on a database (opened from the settings unless given), whose clock tests may set."""
    logs.configure()
    settings = settings or Settings()
    database = database or Database(settings.url, waiting=settings.waiting_writers)

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        yield
        database.close()

    app = FastAPI(
        title="Ooid",
        version=__version__,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
        generate_unique_id_function=description.operation_name,
    )
    app.state.database = database
    app.state.clock = clock
    app.state.settings = settings
    app.state.hasher = Hasher(settings)
    problems.install(app)
    install_refusals(app)
    description.install(app)
    security.install(app)
    app.add_middleware(
        GZipMiddleware, minimum_size=2048, compresslevel=1
    )  # 13 times quicker than 9, for 15 % more bytes
    app.add_middleware(Gate, database=database, body_limit=settings.body_limit_bytes, clock=clock)
    app.include_router(_versioned())
    for router in UNVERSIONED:
        app.include_router(router)
    app.include_router(phone)
    app.include_router(web)
    return app


@cache
def _versioned() -> APIRouter:
    """Everything under /v1, put together once: joining routers costs a tenth of a second."""
    versioned = APIRouter(
        prefix="/v1",
        responses=problems.may_refuse(*problems.EVERYWHERE),
        dependencies=[Depends(refuse_unknown_parameters)],
    )
    for router in ROUTERS:
        versioned.include_router(router)
    return versioned
