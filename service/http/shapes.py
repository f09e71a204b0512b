"""Strict shapes for what is sent and what is answered: no unknown fields, no guessed numbers, no naive times."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StrictBool,
    StrictInt,
    WithJsonSchema,
)

RFC3339 = re.compile(r"^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}:\d{2}(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})$")
UUID_TEXT = re.compile(r"^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$")
PRINTABLE = r"^[^\x00-\x1f\x7f]*$"  # for words in a query or a path: no database looks for a control character
LARGEST = 1e15  # beyond any quantity this service knows; keeps sums and squares finite


class Shape(BaseModel):
    """Something sent or answered. Unknown fields are refused by name."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _rfc3339(value: Any) -> Any:
    if isinstance(value, datetime):
        return value
    if not isinstance(value, str) or not RFC3339.match(value):
        raise ValueError("an RFC 3339 time with its offset is expected, such as 2026-11-20T08:00:00+01:00")
    return value


def _in_range(value: datetime) -> datetime:
    if value.tzinfo is None:
        raise ValueError("the offset from UTC is missing")
    if not 1900 <= value.year <= 2200:
        raise ValueError("a time between the years 1900 and 2200 is expected")
    return value


def _uuid_text(value: Any) -> Any:
    if isinstance(value, UUID):
        return value
    if not isinstance(value, str) or not UUID_TEXT.match(value):
        raise ValueError("a UUID in its usual form is expected, such as 0190f3c2-7a51-7c10-8a3e-5f0d6c1b2a33")
    return value


def _no_control_characters(value: str) -> str:
    for character in value:
        if (
            (ord(character) < 32 and character not in "\n\t")
            or 0xD800 <= ord(character) <= 0xDFFF
            or ord(character) == 127
        ):
            raise ValueError("control characters are not accepted")
    return value


Time = Annotated[
    datetime, BeforeValidator(_rfc3339), AfterValidator(_in_range), Field(examples=["2026-11-20T08:00:00+01:00"])
]
Id = Annotated[UUID, BeforeValidator(_uuid_text)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-LARGEST, le=LARGEST)]
Whole = Annotated[StrictInt, Field(ge=-(2**31), le=2**31 - 1)]
Flag = StrictBool
Line = Annotated[str, Field(min_length=1, max_length=200, strict=True), AfterValidator(_no_control_characters)]
Note = Annotated[str, Field(min_length=1, max_length=4000, strict=True), AfterValidator(_no_control_characters)]
Tag = Annotated[
    str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]*$", strict=True, examples=["north-1"])
]
Code = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[a-z][a-z0-9_]*$", strict=True)]
UnitName = Annotated[
    str, Field(min_length=1, max_length=40, strict=True, examples=["dKH"]), AfterValidator(_no_control_characters)
]


class Amount(Shape):
    """A number and its unit."""

    value: Number
    unit: UnitName


class Bounds(Shape):
    """A computed number with its interval; `low` or `high` null means unbounded by these records."""

    value: float
    low: float | None
    high: float | None
    level: float = Field(description="How often, in 100 of 100, such an interval holds the truth; 0.95 by default.")
    unit: str


class Reason(Shape):
    """Why something is changed or withdrawn."""

    reason: Note


AnyJson = Annotated[Any, WithJsonSchema({})]
