"""A series as it leaves: columns of JSON or lines of CSV, straight from arrays, without an object a point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
import orjson
from numpy.typing import NDArray

from service.resources.keeping.amounts import refused
from service.resources.records.series.blocks import Points, Sums
from service.science.quantities import Quantity
from service.science.units import UnitError, convert

Values = NDArray[np.float64]

NUMPY = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NAIVE_UTC | orjson.OPT_UTC_Z


@dataclass(frozen=True)
class Columns:
    """Part of a series in the unit asked for; `count`, `low` and `high` are None for points."""

    subject_id: UUID
    quantity: str
    unit: str
    method: str | None
    resolution: str
    at_us: NDArray[np.int64]
    value: Values
    count: NDArray[np.int64] | None = None
    low: Values | None = None
    high: Values | None = None

    def json(self) -> bytes:
        """One object whose columns are arrays."""
        return orjson.dumps(
            {
                "subject_id": str(self.subject_id),
                "quantity": self.quantity,
                "unit": self.unit,
                "method": self.method,
                "resolution": self.resolution,
                "taken_at": self.at_us.astype("M8[us]"),
                "value": self.value,
                "count": self.count,
                "low": self.low,
                "high": self.high,
            },
            option=NUMPY,
        )

    def csv(self) -> bytes:
        """Lines for machines: RFC 4180, a point as decimal point, the unit in a column of its own."""
        unit = f'"{self.unit}"'.encode() if "," in self.unit else self.unit.encode()
        names, columns = ["taken_at", "value", "unit"], [_texts(self.at_us.astype("M8[us]")), _texts(self.value)]
        columns.append([unit] * len(self.value))
        for name in ("count", "low", "high"):
            if (column := getattr(self, name)) is not None:
                names.append(name)
                columns.append(_texts(column))
        lines = map(b",".join, zip(*columns, strict=True))
        return b"\r\n".join([",".join(names).encode(), *lines, b""])


def columns_of(
    found: Points | Sums, quantity: Quantity, *, subject_id: UUID, method: str | None, resolution: str, unit: str
) -> Columns:
    """The columns of points or of spans, in a unit. Raises Unacceptable when it is not one of the quantity's."""
    is_points = "value" in (found.dtype.names or ())
    mean = found["value"] if is_points else found["total"] / found["count"]
    shown = [_in_unit(np.ascontiguousarray(column), unit, quantity) for column in _of(found, mean, is_points)]
    return Columns(
        subject_id=subject_id,
        quantity=quantity.code,
        unit=unit,
        method=method,
        resolution=resolution,
        at_us=np.ascontiguousarray(found["at"]),
        value=shown[0],
        count=None if is_points else found["count"].astype(np.int64),
        low=None if is_points else shown[1],
        high=None if is_points else shown[2],
    )


def _of(found: Points | Sums, mean: Values, is_points: bool) -> Sequence[Values]:
    return [mean] if is_points else [mean, found["low"], found["high"]]


def _in_unit(value: Values, unit: str, quantity: Quantity) -> Values:
    try:
        return convert(value, unit=quantity.unit, to=unit, substance=quantity.substance)
    except UnitError as error:
        raise refused("unit", str(error), unit, place="query") from error


def _texts(column: NDArray[np.generic]) -> list[bytes]:
    """Each value as JSON writes it, without quotes."""
    text = orjson.dumps(np.ascontiguousarray(column), option=NUMPY)[1:-1].replace(b'"', b"")
    return text.split(b",") if text else []
