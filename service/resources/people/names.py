"""What people and tokens may be called."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, WithJsonSchema

from service.http.shapes import Line

LONGEST = 120


def _not_too_long(name: str) -> str:
    if len(name) > LONGEST:
        raise ValueError(f"at most {LONGEST} characters are expected")
    return name


Name = Annotated[
    Line,
    AfterValidator(_not_too_long),
    WithJsonSchema({"type": "string", "minLength": 1, "maxLength": LONGEST}),
]
