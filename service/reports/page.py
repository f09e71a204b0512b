"""The weekly report as a page, and the parts of it that the desk shows too: ledger, course, evidence.

What is shown is the report of `weekly.compute.weekly_report` (its shape: `weekly.models.WeeklyReport`), fresh with
datetimes or stored as JSON. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from functools import cache, partial
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from service.reports import wording
from service.reports.plot import Mark, Plot, svg
from service.reports.shelf import PAPER
from service.reports.strip import strip

USED, SET_ASIDE = "used", "set_aside"
TEMPLATES = Path(__file__).parent / "templates"
Report = Mapping[str, Any]
Line = Mapping[str, Any]


def environment(*folders: Path) -> Environment:
    """The templates of these folders and of the reports, with every filter they use. Everything put in is escaped."""
    made = Environment(
        loader=FileSystemLoader([*folders, TEMPLATES]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    for words in (
        wording.figure,
        wording.between,
        wording.amount,
        wording.moment,
        wording.day,
        wording.brief,
        wording.first_sentence,
        wording.machine,
        wording.span,
        wording.named,
        strip,
        course_plot,
        readings_of,
        systems_of,
    ):
        made.filters[words.__name__] = words
    made.globals["paper"] = PAPER
    return made


def render_html(report: Report, *, standalone: bool = False, field_width: int | None = None) -> str:
    """The report as an HTML page. Standalone: it carries its style sheet, to be kept or mailed as one file.

    A field width (pixels) gives its plots that width, as paper needs it.
    """
    zone = ZoneInfo(report["site"]["time_zone"])
    template = _templates(field_width).get_template("report.html")
    return template.render(report=report, zone=zone, standalone=standalone)


def course_plot(line: Line, key: str, zone: ZoneInfo, width: int | None = None) -> Markup:
    """The plot (SVG) of a line's course, its ids beginning with `key`; with a width (pixels) for paper."""
    course, target = line["course"], line["target"]
    same_unit = target is not None and target["unit"] == course["unit"]
    drawn = Plot(
        key=key,
        title=f"{line['name']}: {wording.named(line['quantity'])}",
        description=_description(line, zone),
        unit=course["unit"],
        zone=zone,
        at=_seconds(course["at"]),
        value=course["value"],
        low=course["low"],
        high=course["high"],
        readings=_marks(line, zone),
        events=_seconds(event["at"] for event in line["events"]),
        target=target["value"] if same_unit else None,
    )
    return Markup(svg(drawn, width=width))  # noqa: S704 the plot escapes every text it is given


def readings_of(line: Line) -> list[dict[str, Any]]:
    """The readings behind a line's course, in time order: `at`, `value` and, of those set aside, `why`."""
    points = line["readings_course"]
    reasons = {wording.instant(left["taken_at"]): left["reason"] for left in line["set_aside"]}
    return [
        {"at": at, "value": value, "why": reasons.get(wording.instant(at), "set aside") if flag == SET_ASIDE else ""}
        for at, value, flag in zip(points["at"], points["value"], points["flag"], strict=True)
    ]


def systems_of(lines: Iterable[Line]) -> list[list[Line]]:
    """Lines by system, in order: several quantities of one system stand together."""
    grouped: dict[Any, list[Line]] = {}
    for line in lines:
        grouped.setdefault(line["system_id"], []).append(line)
    return list(grouped.values())


def _description(line: Line, zone: ZoneInfo) -> str:
    """What the plot shows, for whoever cannot see it."""
    course, level = line["course"], line["level"]
    flags = line["readings_course"]["flag"]
    parts = [f"{line['words']}."]
    if course["at"]:
        parts.append(f"From {wording.day(course['at'][0], zone)} to {wording.day(course['at'][-1], zone)}.")
    if level is not None:
        parts.append(f"Level {wording.figure(level)} {level['unit']}, {wording.between(level)}.")
    parts.append(f"{len(flags)} readings, {flags.count(SET_ASIDE)} of them set aside.")
    parts.append(f"{len(line['events'])} events, listed below.")
    return " ".join(parts)


def _marks(line: Line, zone: ZoneInfo) -> list[Mark]:
    points, unit = line["readings_course"], line["course"]["unit"]
    marks = []
    for at, value, flag in zip(_seconds(points["at"]), points["value"], points["flag"], strict=True):
        words = "" if flag == USED else f"{wording.moment(datetime.fromtimestamp(at, zone), zone)}: {value:.4g} {unit}"
        marks.append(Mark(at, value, flag, words))
    return marks


def _seconds(instants: Iterable[datetime | str]) -> list[float]:
    """Instants as seconds since 1970; a thousand of them are nothing."""
    return [(datetime.fromisoformat(at) if isinstance(at, str) else at).timestamp() for at in instants]


@cache
def _templates(field_width: int | None) -> Environment:
    made = environment()
    made.filters["course_plot"] = partial(course_plot, width=field_width)
    return made
