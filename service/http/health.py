"""/healthz and /readyz: whether the process lives, and whether it can take requests."""

from __future__ import annotations

from functools import cache
from typing import Any, Literal

from alembic.migration import MigrationContext
from fastapi import APIRouter, Request

from service.errors import Busy
from service.http.problems import may_refuse
from service.http.shapes import Shape
from service.storage.migrating import newest_revision

router = APIRouter(tags=["run"])
newest = cache(newest_revision)


class Health(Shape):
    """That the service is well."""

    status: Literal["ok"]


@router.get("/healthz", response_model=Health)
async def read_health() -> Any:
    """The process lives. It asks nothing of the database: a slow one is no reason to kill the service."""
    return {"status": "ok"}


@router.get("/readyz", response_model=Health, responses=may_refuse(Busy))
def read_readiness(request: Request) -> Any:
    """The database answers and has the schema of this version."""
    with request.app.state.database.read() as session:
        revision = MigrationContext.configure(session.connection()).get_current_revision()
    if revision != newest():
        raise Busy("The database does not have the schema of this version. Run `ooid migrate`.")
    return {"status": "ok"}
