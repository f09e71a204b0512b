"""What to do and what to order: the advice of all answers on one list, each in one sentence with its number."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from service.reports import wording
from service.reports.weekly.findings import DANGER
from service.reports.weekly.gas import SOON

NO_DEED = ("hold", "weigh_weekly")  # advice to go on as before
ORDERED_AHEAD = timedelta(days=28)
REFILLED_AT = 50.0  # per cent of the media (common practice)

NUMBER = re.compile(r"\d[\d.]* (?:(?:%|kg) \([^)]+\)|\([^)]+\) \S+ (?:high|low)\b)")
SEARCH = "search for leaks with soapy water, not by smell, and ventilate first"
DEEDS = {  # what each finding asks for, and what its number is of
    "no_drip": ("Close the gas until water runs again, and look for a blocked line or a stopped pump", ""),
    "gas_leak": (
        f"Close the needle valve overnight, weigh before and after, and {SEARCH}",
        "of the gas goes elsewhere",
    ),
    "gas_missing": (
        f"Read the pH in the chamber itself; if that does not explain it, {SEARCH}",
        "of the gas weighed out does not show in the water",
    ),
    "heavier_than_full": ("Leave the cylinder alone and call the gas supplier, unless more hung on the scale", ""),
    "kit_off": (
        "Read a check standard in duplicate, and the tank with another lot, before anything is turned",
        "is how the kit seems to read",
    ),
    "wrong_flow": ("Time the drip by hand with a measuring cylinder, twice, before anything is turned", ""),
    "slowing_drip": ("Clean the drip line and its valve, and time the drip again", "less comes than before"),
    "media_give_less": (
        "Test the effluent again, then look at the media, gas closed and pressure let off",
        "less comes for the same gas",
    ),
    "media_low": ("Refill the media, gas closed and pressure let off first", "are left"),
}

Row = Mapping[str, Any]


def to_do(
    *,
    findings: Sequence[Row],
    gas: Sequence[Row],
    lines: Sequence[Row],
    reactors: Sequence[Row],
    due: Sequence[Row],
    today: date,
) -> list[dict[str, Any]]:
    """What presses first: danger, gas that runs out, then knobs to turn, then work that is overdue."""
    dangers = [each for each in findings if each["code"] in DANGER]
    faults = [each for each in findings if each["code"] in DEEDS and each["code"] not in DANGER]
    soon = [row for row in gas if row["change_by"] is not None and row["change_by"] <= today + SOON]
    tasks = [
        *(_deed(each) for each in dangers),
        *(
            _task("change_cylinder", row["words"], row["gas_line_id"], row["name"], row["change_by"])
            for row in sorted(soon, key=lambda row: (row["change_by"], row["tag"]))
        ),
        *(_deed(each) for each in faults),
    ]
    turned = {(each["subject_id"], each["code"].partition("_")[0]) for row in reactors for each in row["advice"]}
    tasks += [
        _task(each["code"], wording.first_sentence(each["detail"]), each["subject_id"], row["name"])
        for row in (*reactors, *lines)
        for each in row["advice"]
        if each["code"] not in NO_DEED and not _is_said_better(each, turned)
    ]
    tasks += [
        _task(
            "overdue",
            f"{row['what'][:1].upper()}{row['what'][1:]}: {row['words']}.",
            row["subject_id"],
            row["subject"],
            row["next_due_on"],
        )
        for row in due
        if row["overdue_days"]
    ]
    return tasks


def _deed(finding: Row) -> dict[str, Any]:
    """What a finding asks for, with its number and interval."""
    deed, of_what = DEEDS.get(finding["code"], (None, ""))
    if deed is None:
        detail = wording.first_sentence(finding["detail"])
    else:
        number = NUMBER.search(finding["detail"])
        detail = f"{deed}: {number[0]} {of_what}." if number and of_what else f"{deed}."
    return _task(finding["code"], detail, finding["subject_id"], finding["subject"])


def _is_said_better(advice: Row, turned: set[tuple[UUID, str]]) -> bool:
    """Whether a reactor's own advice says which knob to turn for a system that is to be given more, or less."""
    verb, _, way = advice["code"].partition("_")
    return verb == "give" and (advice["subject_id"], way) in turned


def to_order(gas: Sequence[Row], reactors: Sequence[Row], *, today: date) -> list[dict[str, Any]]:
    """Cylinders and media that are needed within four weeks, by the day they are needed."""
    cylinders = sorted(
        (row for row in gas if row["change_by"] is not None and row["change_by"] <= today + ORDERED_AHEAD),
        key=lambda row: (row["change_by"], row["tag"]),
    )
    media = sorted(
        (row for row in reactors if _is_low(row, today)), key=lambda row: (_refilled_by(row, today), row["tag"])
    )
    wanted = [*(_cylinder(row, today) for row in cylinders), *(_media(row, today) for row in media)]
    return sorted(wanted, key=lambda each: each["by"])


def _is_low(row: Row, today: date) -> bool:
    """Whether a reactor is refilled soon, by what it has brought or as somebody saw it."""
    level = row["media_level"]
    return _refilled_by(row, today) <= today + ORDERED_AHEAD or (level is not None and level["value"] <= REFILLED_AT)


def _refilled_by(row: Row, today: date) -> date:
    by: date | None = row["media_refill_by"]
    level = row["media_level"]
    if level is not None and level["value"] <= REFILLED_AT:
        return today
    return date.max if by is None else by


def _task(
    code: str, detail: str, subject_id: UUID | None, subject: str | None, by: date | None = None
) -> dict[str, Any]:
    return {"code": code, "detail": detail, "subject_id": subject_id, "subject": subject, "by": by}


def _cylinder(row: Row, today: date) -> dict[str, Any]:
    by: date = row["change_by"]
    charge_kg = row["charge_kg"]
    of = "" if charge_kg is None else f" of {charge_kg:g} kg"
    return {
        "what": f"CO2 cylinder{of}",
        "needed_for": row["name"],
        "by": by,
        "detail": f"One full CO2 cylinder{of}, at hand {_when(by, today)}.",
    }


def _media(row: Row, today: date) -> dict[str, Any]:
    by, left, filled, level = (row[f"media_{name}"] for name in ("refill_by", "left", "filled", "level"))
    by = max(_refilled_by(row, today), today) if by is None else by
    wanted = "Media" if left is None or filled is None else f"{max(filled['value'] - left['value'], 0):.0f} kg of media"
    seen = "" if level is None else f", {level['value']:.0f}{wording.NO_BREAK}% as last seen"
    known = "" if left is None else f" {wording.figure(left)} kg are left ({wording.between(left)}){seen}."
    known = known or f" {level['value']:.0f} % are left as last seen; many refill at half (common practice)."
    return {
        "what": "media",
        "needed_for": row["name"],
        "by": by,
        "detail": f"{wanted} of the kind in use, at hand {_when(by, today)}.{known}",
    }


def _when(by: date, today: date) -> str:
    return "now" if by <= today else f"by {by:%A} {by.day} {by:%B}"
