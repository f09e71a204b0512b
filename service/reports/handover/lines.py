"""What happened as lines: each with its subject, what was done, by whom, and what stood before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from service.reports.handover.happened import Happened
from service.resources.equipment.gas_lines.models import GasLineMember
from service.resources.places.set_points.models import SetPoint
from service.resources.places.systems.actions import AS_DESCRIBED
from service.resources.records.readings.models import Reading
from service.resources.records.readings.queries import Known
from service.storage.trail import AuditEntry

Line = dict[str, Any]
CYLINDER, REACTOR = "co2_cylinder", "calcium_reactor"
ADDED = ("volume", "alkalinity", "calcium", "magnesium", "mass")
WORDS = ("what", "text", "quantity", "kind", "procedure")
FAR = 0.5  # of the usual band's width beyond its ends: of normal scatter one reading in a thousand


def records(happened: Happened, history: Mapping[UUID, Sequence[SetPoint]]) -> Iterator[Line]:
    """The lines of what was added, done, set, moved and begun."""
    for row, entry in happened.recorded("addition"):
        amounts = [row.entered[name] for name in ADDED if row.entered.get(name)]
        yield _line("addition", row, entry, what=row.kind, amounts=amounts)
    for row, entry in happened.recorded("maintenance_event"):
        yield _line("maintenance", row, entry, what=row.entered["what"], why=row.entered.get("findings"))
    for row, entry in happened.recorded("set_point"):
        if row.entered["reason"] != AS_DESCRIBED:
            before = _set_before(row, history.get(row.subject_id, ()))
            yield _line(
                "set_point", row, entry, what=row.quantity, amounts=[_amount(row.entered)], before=before,
                why=row.entered["reason"],
            )  # fmt: skip
    for row, entry in happened.recorded("stock_change"):
        count = [] if row.count is None else [{"value": row.count, "unit": "1"}]
        yield _line("stock", row, entry, what=row.entered["what"], amounts=count, why=row.kind)
    for row, entry in happened.recorded("commissioning"):
        yield _line("commissioning", row, entry, what=row.procedure, why="begun")
    for event, entry, row in happened.changed("signed"):
        if event.kind == "commissioning":
            yield _line("commissioning", row, entry, what=row.procedure, why="signed", at=entry.at)


def changes(happened: Happened) -> Iterator[Line]:
    """The lines of what was corrected and withdrawn."""
    for event, entry, row in happened.changed("corrected", "withdrawn"):
        before, after = entry.before or {}, entry.after or {}
        is_value = event.action == "corrected" and {"value", "unit"} <= before.keys() & after.keys()
        differs = is_value and _amount(before) != _amount(after)
        stood = _amount(before) if differs or (event.action == "withdrawn" and "unit" in before) else None
        yield _line(
            event.action, row, entry, what=_words(row), why=row.correction_reason or entry.why, at=entry.at,
            amounts=[_amount(after)] if differs else [], before=stood,
        )  # fmt: skip


def readings(
    happened: Happened, known: Iterable[Known], set_aside: Mapping[tuple[UUID, datetime], str]
) -> Iterator[Line]:
    """The lines of readings that a next shift should know of: unusual, far from usual, or set aside."""
    usual = {(each.subject_id, each.quantity): each.usual for each in known if each.usual is not None}
    for row, entry in happened.recorded("reading"):
        band = usual.get((row.subject_id, row.quantity))
        why = set_aside.get((row.id, row.at))
        reasons = [
            reason
            for reason, holds in (
                ("unusual", row.flagged),
                ("far_from_usual", band is not None and is_far(row.value, band)),
                ("set_aside", why is not None),
            )
            if holds
        ]
        if reasons:
            shown = None if band is None else {"low": band[0], "high": band[1], "unit": row.unit}
            yield {
                **_line("reading", row, entry, what=row.quantity, amounts=[_amount(row.entered)], why=why),
                "shown_for": reasons,
                "usual": shown,
            }


def is_far(value: float, band: tuple[float, float]) -> bool:
    """Whether a value lies beyond the usual band by more than half its width."""
    low, high = band
    margin = FAR * (high - low)
    return not low - margin <= value <= high + margin


def swaps(happened: Happened) -> Iterator[tuple[Line, set[UUID]]]:
    """The lines of cylinders that took the place of others, and the reactors that hang on their line."""
    for new, entry in happened.new_members():
        left = next((old for old in happened.members if _gave_way(old, new)), None)
        if left is not None:
            line = _line("swap", new, entry, what=str(left.equipment_id), at=new.from_at, subject=new.equipment_id)
            yield line, {each.equipment_id for each in happened.members if _is_fed(each, new)}


def _gave_way(old: GasLineMember, new: GasLineMember) -> bool:
    is_cylinder = old.kind == new.kind == CYLINDER
    return is_cylinder and old.line_id == new.line_id and old.id != new.id and old.to_at == new.from_at


def _is_fed(each: GasLineMember, new: GasLineMember) -> bool:
    return each.kind == REACTOR and each.line_id == new.line_id and each.span.holds_at(new.from_at)


def _line(
    kind: str,
    row: Any,
    entry: AuditEntry,
    *,
    what: str,
    amounts: Sequence[Any] = (),
    before: Any = None,
    why: str | None = None,
    at: datetime | None = None,
    subject: UUID | None = None,
) -> Line:
    return {
        "kind": kind,
        "record_id": row.id,
        "subject_id": subject or row.subject_id,
        "at": at or row.at,
        "by": entry.actor_id,
        "what": what,
        "amounts": list(amounts),
        "before": before,
        "why": why,
        "shown_for": [],
        "usual": None,
    }


def _set_before(row: SetPoint, history: Sequence[SetPoint]) -> dict[str, Any] | None:
    """What was set of the same quantity until then."""
    earlier = [each for each in history if each.quantity == row.quantity and each.at < row.at]
    return _amount(earlier[-1].entered) if earlier else None


def _words(row: Any) -> str:
    if isinstance(row, Reading | SetPoint):
        return row.quantity
    found = {**row.entered, "kind": getattr(row, "kind", None)}
    return next((str(found[name]) for name in WORDS if found.get(name)), "")


def _amount(entered: Mapping[str, Any]) -> dict[str, Any]:
    return {"value": entered["value"], "unit": entered["unit"]}
