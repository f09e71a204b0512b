"""Recording additions: what cannot be is refused, what would shock a system wants confirming."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from service.access.caller import Work
from service.errors import Fault, NeedsConfirmation
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind
from service.resources.places.set_points.queries import history, in_force
from service.resources.places.subjects import subject_of
from service.resources.records.additions.content import content
from service.resources.records.additions.models import ADDITION, AdditionRead, AdditionSent
from service.resources.records.fields import refuse_ahead
from service.storage.subjects import Subject

DAY = timedelta(days=1)
LARGEST_RISE_A_DAY = {
    "alkalinity_meq": ("alkalinity", 2.5, "meq/L"),
    "calcium_mg": ("calcium", 100.0, "mg/L"),
    "magnesium_mg": ("magnesium", 200.0, "mg/L"),
}  # common practice, no source: beyond these a typing error is likelier than a keeper who means it
LARGEST_TOP_OFF_A_DAY = 0.10  # of the system's volume; evaporation takes one or two in a hundred (common practice)


def columns(work: Work, sent: AdditionSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable, NeedsConfirmation or NotFound, each naming its field."""
    subject = _subject(work, sent)
    refuse_ahead(work, sent.at, "/at")
    refuse_ahead(work, sent.started_at, "/started_at")
    refuse_ahead(work, sent.ended_at, "/ended_at")
    canonical = content(sent)
    implausible = _implausible(sent, canonical, _litres_held(work, subject, sent))
    if implausible is not None and not sent.confirm:
        raise implausible
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.begins_at,
        "kind": sent.kind,
        "ended_at": sent.ended_at,
        "canonical": canonical,
        "relative_sd": sent.relative_sd,
        "flagged": implausible is not None,
    }


ADDITIONS = RecordKind(
    kept=ADDITION,
    singular="addition",
    plural="additions",
    sent=AdditionSent,
    read=AdditionRead,
    columns=columns,
    topic="kind",
)


def _subject(work: Work, sent: AdditionSent) -> Subject:
    name, wanted = ("reactor_id", "calcium_reactor") if sent.kind == "media" else ("system_id", "system")
    subject = subject_of(work.session, work.scope, getattr(sent, name), pointer=f"/{name}")
    if subject.kind != wanted:
        words = [text.replace("_", " ") for text in (sent.kind, wanted, subject.kind)]
        raise refused(f"/{name}", f"A {words[0]} goes into a {words[1]}; this is a {words[2]}.", str(subject.id))
    return subject


def _litres_held(work: Work, subject: Subject, sent: AdditionSent) -> float | None:
    """The net water volume of the system when the addition began, in litres; None when none is on record for then."""
    if sent.kind not in {"dose", "water_change", "top_off"}:
        return None
    with work.session.no_autoflush:
        volumes = history(work.session, [subject.id], quantity="water_volume")[subject.id]
    held = in_force(volumes, sent.begins_at).get("water_volume")
    if held is None and sent.kind == "water_change":
        detail = "The system's water volume is not known for this instant. Set it from then on at /v1/set-points."
        raise refused("/at", detail, sent.begins_at.isoformat())
    return None if held is None else held.value


def _implausible(
    sent: AdditionSent, canonical: Mapping[str, Any], litres_held: float | None
) -> NeedsConfirmation | None:
    """What wants confirming, naming the field; None when nothing does. Raises Unacceptable for what cannot be."""
    if litres_held is None:
        return None
    days = max((sent.ended_at - sent.begins_at) / DAY if sent.ended_at else 0.0, 1.0)
    if sent.kind == "dose":
        return _too_much_dosed(canonical, litres_held * days)
    share = canonical["volume_l"] / litres_held
    volumes = f"{canonical['volume_l']:g} L against the {litres_held:g} L that the system held then"
    if sent.kind == "water_change" and share > 1:
        if canonical["mode"] == "drained":
            raise refused("/volume/value", f"No more can be drained than is there: {volumes}.", _value(sent.volume))
        return _confirm("/volume/value", f"More than the whole water is exchanged: {volumes}.", _value(sent.volume))
    if sent.kind == "top_off" and share / days > LARGEST_TOP_OFF_A_DAY:
        detail = f"This is more than a tenth of the system's water a day: {volumes}."
        return _confirm("/volume/value", detail, _value(sent.volume))
    return None


def _too_much_dosed(canonical: Mapping[str, Any], litre_days: float) -> NeedsConfirmation | None:
    for key, (name, limit, unit) in LARGEST_RISE_A_DAY.items():
        rise = (canonical[key] or 0.0) / litre_days
        if rise > limit:
            detail = f"This raises {name} by {rise:.3g} {unit} a day; more than {limit:g} {unit} is unusual."
            return _confirm(f"/{name}/value", detail, canonical[key])
    return None


def _confirm(pointer: str, detail: str, sent: Any) -> NeedsConfirmation:
    detail = f"{detail} Check the amount and its unit; if it is right, send it again with confirm: true."
    return NeedsConfirmation(detail, (Fault(pointer, detail, sent),))


def _value(amount: Any) -> Any:
    return amount.value if amount is not None else None
