"""Amounts as sent into canonical numbers, with refusals that name the field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from service.errors import Fault, Unacceptable
from service.http.shapes import Amount
from service.science.units import UnitError, convert


def amount_in(
    amount: Amount, unit: str, *, pointer: str, least: float | None = None, above: float | None = None
) -> float:
    """The amount in a unit. Raises Unacceptable naming `pointer` when it does not convert or is out of bounds."""
    try:
        value = float(convert(amount.value, unit=amount.unit, to=unit))
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), amount.unit) from error
    if least is not None and value < least:
        raise refused(f"{pointer}/value", f"At least {least:g} {unit} is expected.", amount.value)
    if above is not None and value <= above:
        raise refused(f"{pointer}/value", f"More than {above:g} {unit} is expected.", amount.value)
    return value


def refused(pointer: str, detail: str, sent: object = None, *, place: str = "body") -> Unacceptable:
    """The refusal of one field of the body, or of one parameter elsewhere."""
    return Unacceptable(f"{pointer}: {detail}", (Fault(pointer, detail, sent, place),))


@contextmanager
def pointing_to(pointer: str) -> Iterator[None]:
    """Refusals from within name the field that the sender knows, not the one behind it."""
    try:
        yield
    except Unacceptable as error:
        faults = tuple(
            replace(fault, pointer=pointer + fault.pointer.removeprefix("/quantity")) for fault in error.faults
        )
        detail = error.detail.partition(": ")[2] or error.detail
        raise Unacceptable(f"{faults[0].pointer if faults else pointer}: {detail}", faults) from error
