"""/v1/procedures"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path

from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE
from service.resources.records.procedures.models import Procedure
from service.resources.records.procedures.queries import named, procedures

router = APIRouter(prefix="/procedures", tags=["procedures"])


@router.get("", response_model=list[Procedure])
def list_procedures(door: DoorOf) -> Any:
    """Every procedure that comes with the service, with its steps."""
    with door.read():
        return list(procedures().values())


@router.get("/{code}", response_model=Procedure, responses=may_refuse(NotFound, Unacceptable))
def read_procedure(code: Annotated[str, Path(max_length=40, pattern=PRINTABLE)], door: DoorOf) -> Any:
    """One procedure."""
    with door.read():
        return named(code, pointer="code", place="path")
