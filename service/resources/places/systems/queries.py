"""Finding systems, and what holds for them now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope
from service.errors import Fault, NotFound
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.codes import TARGET
from service.resources.places.set_points.models import SetPoint
from service.resources.places.systems.models import System, body
from service.storage.subjects import Subject


def one(session: Session, scope: Scope, system_id: UUID, *, pointer: str = "/system_id", place: str = "body") -> System:
    """The system with this id within the scope. Raises NotFound, also for another site's."""
    system = session.get(System, system_id)
    if system is None or system.site_id not in scope:
        detail = "There is no system with this id."
        raise NotFound(detail, (Fault(pointer, detail, str(system_id), place),))
    return system


def of_site(session: Session, site_id: UUID) -> list[System]:
    """Every system of a site, by tag."""
    return list(session.exec(select(System).where(System.site_id == site_id).order_by(col(System.tag))))


def shown(session: Session, rows: Sequence[System], at: datetime) -> list[dict[str, Any]]:
    """Systems with the volume, salinity and targets that hold at an instant, in order: two queries however many."""
    ids = [row.id for row in rows]
    held = set_points.history(session, ids)
    codes = dict(session.exec(select(Subject.id, Subject.label_code).where(col(Subject.id).in_(ids))).all())
    return [{**body(row), "label_code": codes[row.id], **_held(set_points.in_force(held[row.id], at))} for row in rows]


def _held(settings: dict[str, SetPoint]) -> dict[str, Any]:
    volume, salinity = settings.get("water_volume"), settings.get("reference_salinity")
    return {
        "water_volume": volume and _as_entered(volume),
        "water_volume_relative_sd": volume and volume.relative_sd,
        "reference_salinity": salinity and salinity.value,
        "targets": {
            code.removeprefix(TARGET): _as_entered(setting)
            for code, setting in settings.items()
            if code.startswith(TARGET)
        },
    }


def _as_entered(setting: SetPoint) -> dict[str, Any]:
    return {"value": setting.entered["value"], "unit": setting.entered["unit"]}
