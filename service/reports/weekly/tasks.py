"""What to do and what to order: the advice of all answers on one list, each in one sentence with its number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from service.reports.weekly.findings import DANGER, first_sentence
from service.reports.weekly.gas import SOON

NO_DEED = ("hold", "weigh_weekly")  # advice to go on as before
ORDERED_AHEAD = timedelta(days=28)
REFILLED_AT = 50.0  # per cent of the media (common practice)

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
    tasks = [
        _task(each["code"], each["detail"], each["subject_id"], each["subject"])
        for each in findings
        if each["code"] in DANGER
    ]
    tasks += [
        _task("change_cylinder", row["words"], row["gas_line_id"], row["name"], row["change_by"])
        for row in gas
        if row["change_by"] is not None and row["change_by"] <= today + SOON
    ]
    tasks += [
        _task(each["code"], first_sentence(each["detail"]), each["subject_id"], row["name"])
        for row in (*reactors, *lines)
        for each in row["advice"]
        if each["code"] not in NO_DEED
    ]
    tasks += [
        _task("overdue", f"{row['what']}: {row['words']}.", row["subject_id"], row["subject"], row["next_due_on"])
        for row in due
        if row["overdue_days"]
    ]
    return tasks


def to_order(gas: Sequence[Row], reactors: Sequence[Row], *, today: date) -> list[dict[str, Any]]:
    """Cylinders by the day they are needed, then media of reactors that are half empty."""
    cylinders = sorted(
        (row for row in gas if row["change_by"] is not None and row["change_by"] <= today + ORDERED_AHEAD),
        key=lambda row: (row["change_by"], row["tag"]),
    )
    wanted = [_cylinder(row, today) for row in cylinders]
    return wanted + [
        _media(row) for row in reactors if row["media_left"] is not None and row["media_left"]["value"] <= REFILLED_AT
    ]


def _task(
    code: str, detail: str, subject_id: UUID | None, subject: str | None, by: date | None = None
) -> dict[str, Any]:
    return {"code": code, "detail": detail, "subject_id": subject_id, "subject": subject, "by": by}


def _cylinder(row: Row, today: date) -> dict[str, Any]:
    by: date = row["change_by"]
    charge_kg = row["charge_kg"]
    of = "" if charge_kg is None else f" of {charge_kg:g} kg"
    when = "now" if by <= today else f"by {by:%A} {by.day} {by:%B}"
    return {
        "what": f"CO2 cylinder{of}",
        "needed_for": row["name"],
        "by": by,
        "detail": f"One full CO2 cylinder{of}, at hand {when}.",
    }


def _media(row: Row) -> dict[str, Any]:
    left, media_kg = row["media_left"]["value"], row["media_kg"]
    how_much = "Media" if media_kg is None else f"{media_kg * (1 - left / 100):.0f} kg of media"
    return {
        "what": "media",
        "needed_for": row["name"],
        "by": None,
        "detail": f"{how_much} of the kind in use: {left:.0f} % are left, and many refill at half (common practice).",
    }
