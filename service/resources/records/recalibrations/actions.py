"""Recording recalibrations."""

from __future__ import annotations

from typing import Any

from service.access.caller import Work
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind
from service.resources.places.subjects import subject_of
from service.resources.records.fields import refuse_ahead
from service.resources.records.readings.actions import method_of, quantity_of
from service.resources.records.recalibrations.models import RECALIBRATION, RecalibrationRead, RecalibrationSent
from service.resources.records.series.models import Series, series_id
from service.science.quantities import Quantity
from service.science.units import UnitError, convert


def columns(work: Work, sent: RecalibrationSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    subject = subject_of(work.session, work.scope, sent.subject_id)
    quantity = quantity_of(sent.quantity, subject.kind)
    method = method_of(work.session, quantity.code, sent.method)
    refuse_ahead(work, sent.to, "/to")
    series = work.session.get(Series, series_id(subject.id, quantity.code, method))
    if series is None:
        detail = "This subject has no such series. GET /v1/series/overview lists what there is, with its methods."
        raise refused("/quantity", detail, sent.quantity)
    slope, shift = _canonical(sent, quantity)
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.from_,
        "series_id": series.id,
        "quantity": quantity.code,
        "method": method,
        "to_at": sent.to,
        "slope": slope,
        "shift": shift,
    }


RECALIBRATIONS = RecordKind(
    kept=RECALIBRATION,
    singular="recalibration",
    plural="recalibrations",
    sent=RecalibrationSent,
    read=RecalibrationRead,
    columns=columns,
    topic="quantity",
)


def _canonical(sent: RecalibrationSent, quantity: Quantity) -> tuple[float, float]:
    """Slope and offset for canonical values: a unit may have another zero (degF), where a slope alone shifts too."""
    unit = sent.unit or quantity.unit
    try:
        zero, one = (float(convert(x, unit=quantity.unit, to=unit, substance=quantity.substance)) for x in (0.0, 1.0))
    except UnitError as error:
        raise refused("/unit", str(error), sent.unit) from error
    return sent.slope, (sent.slope * zero + sent.offset - zero) / (one - zero)
