"""What every computed answer carries: what it used, what it left out, what would help, and why to believe it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import Field

from service.http.shapes import Shape
from service.science.sources import SOURCES

LEVEL = 0.95
_SOURCE_LINE = re.compile(r"Source:\s*([A-Z0-9,\s]+?)\.")


class Remark(Shape):
    """Something said about an answer, with a code that scripts may rely on."""

    code: str
    detail: str
    subject_id: UUID | None = None


class LeftOut(Shape):
    """A reading that was not used, and why."""

    reading_id: UUID = Field(description="The reading; of a probe's mean, its series.")
    taken_at: datetime
    value: float
    unit: str
    score: float | None = Field(description="How many standard deviations off the expected course, where told.")
    reason: str


class SourceRead(Shape):
    """A publication behind the answer, or the word that there is none: DERIVED (worked out here), PRACTICE."""

    key: str
    citation: str
    doi: str | None


class Answer(Shape):
    """The parts that every answer has, whatever it answers."""

    used: dict[str, Any] = Field(description="Counts and window of what went in.")
    set_aside: list[LeftOut]
    missing: list[Remark] = Field(description="Which readings would settle what is null or wide.")
    findings: list[Remark]
    advice: list[Remark]
    assumptions: list[str]
    sources: list[SourceRead]
    cautions: list[str]


def sources_of(*formulas: Callable[..., Any]) -> list[dict[str, Any]]:
    """The publications that the docstrings of these formulas name, each once, in order."""
    return sources_named(key for formula in formulas for key in _keys(formula.__doc__ or ""))


def sources_named(keys: Iterable[str]) -> list[dict[str, Any]]:
    """The publications of these keys, each once, in order."""
    return [{"key": key, "citation": SOURCES[key].citation, "doi": SOURCES[key].doi} for key in dict.fromkeys(keys)]


def remark(code: str, detail: str, subject_id: UUID | None = None) -> dict[str, Any]:
    """One remark as JSON values."""
    return {"code": code, "detail": detail, "subject_id": subject_id}


def without_records(
    *,
    sources: list[dict[str, Any]],
    assumptions: list[str],
    findings: list[dict[str, Any]] | None = None,
    cautions: list[str] | None = None,
) -> dict[str, Any]:
    """The common parts of an answer that was computed from the request alone."""
    return {
        "used": {},
        "set_aside": [],
        "missing": [],
        "findings": findings or [],
        "advice": [],
        "assumptions": assumptions,
        "sources": sources,
        "cautions": cautions or [],
    }


def _keys(docstring: str) -> list[str]:
    return [key.strip() for line in _SOURCE_LINE.findall(docstring) for key in line.split(",")]
