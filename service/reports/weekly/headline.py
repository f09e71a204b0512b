"""The page in a few sentences: danger and animals first, then gas, then what drifts, then work, then paper."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.reports import wording
from service.reports.weekly.findings import LATER, urgency
from service.reports.weekly.gas import SOON
from service.reports.weekly.words import STEADY

MOST = 5  # sentences of a group; what is left is counted
RISING, FALLING = "Rising", "Falling"
GIVES_LESS = (
    "gas_limited", "drip_limited", "media_limited", "slowing_drip", "media_give_less", "far_below_ceiling",
    "effluent_below_tank", "no_drip",
)  # fmt: skip
CHANGES = ("stock", "set_point")
LOOKED_BACK = timedelta(days=21)  # from the end: what changed before this week or the two before it is another matter
Row = Mapping[str, Any]
Causes = Mapping[UUID, tuple[str, Row]]


def headline(
    *,
    lines: Sequence[Row],
    reactors: Sequence[Row],
    gas: Sequence[Row],
    findings: Sequence[Row],
    lost: Sequence[str],
    due: Sequence[Row],
    unlogged: int,
    corrections: int,
    at: datetime,
    zone: ZoneInfo,
) -> list[str]:
    """The sentences in order. `lost`: what was recorded as lost of the stock in the week, in words."""
    today = at.astimezone(zone).date()
    causes = _causes(lines, reactors)
    told = {cause["detail"] for _, cause in causes.values()}
    named = [
        (urgency(each["code"]), _found(each))
        for each in findings
        if each["detail"] not in told or urgency(each["code"]) < LATER
    ]
    return [
        *_most([sentence for rank, sentence in named if rank == 0], "findings that may be dangerous"),
        *_most([*lost, *(sentence for rank, sentence in named if rank == 1)], "findings that touch animals"),
        *_most(_gas(gas, today), "gas lines to change within a fortnight"),
        *_most([sentence for rank, sentence in named if rank == 2], "findings on gas"),
        _count(lines),
        *_most(_moving(lines, reactors, causes, at - LOOKED_BACK, zone), "systems that are rising or falling"),
        *_most(_demand(lines), "systems that use another amount than before"),
        *_most([sentence for rank, sentence in named if rank > 2], "findings"),
        *_overdue(due),
        *_paper(len(lines), unlogged, corrections),
    ]


def _most(sentences: Sequence[str], what: str) -> Iterable[str]:
    yield from sentences[:MOST]
    if len(sentences) > MOST:
        yield f"And {len(sentences) - MOST} more {what}, below."


def _found(finding: Row) -> str:
    said = wording.first_sentence(finding["detail"])
    return said if finding["subject"] is None else f"{finding['subject']}: {said[0].lower()}{said[1:]}"


def _gas(rows: Sequence[Row], today: date) -> list[str]:
    """A line whose cylinder is to be changed within a fortnight, the first to go first."""
    soon = [row for row in rows if row["change_by"] is not None and row["change_by"] <= today + SOON]
    return [
        f"{row['name']}: {row['words'][0].lower()}{row['words'][1:]}"
        for row in sorted(soon, key=lambda r: r["change_by"])
    ]


def _count(lines: Sequence[Row]) -> str:
    steady = sum(line["words"] == STEADY for line in lines)
    if not lines:
        return "No systems are described yet."
    if steady == len(lines):
        return "Every system held its alkalinity this week."
    return f"{steady} of {_systems(len(lines))} held {'its' if steady == 1 else 'their'} alkalinity this week."


def _moving(
    lines: Sequence[Row], reactors: Sequence[Row], causes: Causes, since: datetime, zone: ZoneInfo
) -> list[str]:
    """Each system that rises or falls, with what is known of why; the fastest first."""
    moving = [line for line in lines if line["words"].startswith((RISING, FALLING))]
    moving.sort(key=lambda line: -abs(line["level"]["value"] - line["level_week_ago"]["value"]))
    return [
        f"{line['name']} is {_in_passing(line['words'])}{_why(line, reactors, causes, since, zone)}." for line in moving
    ]


def _causes(lines: Sequence[Row], reactors: Sequence[Row]) -> dict[UUID, tuple[str, Row]]:
    """What was found of a reactor that explains why a system of its own falls, by system: its name, the finding."""
    falling = {line["system_id"] for line in lines if line["words"].startswith(FALLING)}
    return {
        fed["system_id"]: (reactor["name"], found)
        for reactor in reactors
        for fed in reactor["systems"]
        for found in reactor["findings"][::-1]
        if found["code"] in GIVES_LESS and fed["system_id"] in falling
    }


def _in_passing(said: str) -> str:
    """`Falling: -0.5 dKH in the week` within a sentence."""
    return said[0].lower() + said[1:].replace(": ", " (") + ")"


def _why(line: Row, reactors: Sequence[Row], causes: Causes, since: datetime, zone: ZoneInfo) -> str:
    """What was found of its reactor, else that this brings too little or too much, else the demand that changed, else
    what was recorded before. A jump that nobody recorded has a sentence of its own.
    """
    falls = line["words"].startswith(FALLING)
    if line["system_id"] in causes:
        name, found = causes[line["system_id"]]
        return f": {name}, {_within(wording.first_sentence(found['detail']))}"
    for reactor in reactors:
        for fed in reactor["systems"]:
            if fed["system_id"] == line["system_id"] and _is_off(reactor, line, falls=falls):
                ratio = fed["supply_over_demand"]
                return f": {reactor['name']} brings {wording.figure(ratio)} of what it uses ({wording.between(ratio)})"
    for change in line["demand_changes"]:
        if (change["change"]["value"] > 0) == falls:
            return f": {_within(change['words'])}"
    return "" if line["findings"] else _nearby(line, since, zone)


def _within(sentence: str) -> str:
    """A sentence as part of another."""
    return sentence[0].lower() + sentence[1:].rstrip(".")


def _is_off(reactor: Row, line: Row, *, falls: bool) -> bool:
    """Whether the reactor is to be turned up for a system that falls, or down for one that rises."""
    way = "more_" if falls else "less_"
    return any(each["subject_id"] == line["system_id"] and each["code"].startswith(way) for each in reactor["advice"])


def _nearby(line: Row, since: datetime, zone: ZoneInfo) -> str:
    """What was last changed of its stock or set anew: no cause, but where to look first."""
    last = {each["kind"]: each for each in line["events"] if each["kind"] in CHANGES and each["at"] >= since}
    if not last:
        return "; nothing on record says why"
    said = [f"{each['what']} on {wording.date_of(each['at'], zone)}" for each in last.values()]
    return f"; on record before: {' and '.join(said)}"


def _demand(lines: Sequence[Row]) -> list[str]:
    """What changed over the shortest span, where the sentence on its level has not said it."""
    return [
        f"{line['name']}: {change['words'][0].lower()}{change['words'][1:]}"
        for line in lines
        for change in line["demand_changes"][:1]
        if not (line["words"].startswith(FALLING if change["change"]["value"] > 0 else RISING))
    ]


def _overdue(due: Sequence[Row]) -> list[str]:
    late = [row for row in due if row["overdue_days"]]
    if not late:
        return []
    first = late[0]
    jobs = "1 job is overdue" if len(late) == 1 else f"{len(late)} jobs are overdue, the longest"
    return [f"{jobs}: {first['what']} ({first['subject']}), {first['words']}."]


def _paper(systems: int, unlogged: int, corrections: int) -> list[str]:
    said = []
    if unlogged:
        said.append(f"{unlogged} of {_systems(systems)} had no alkalinity test all week.")
    if corrections:
        said.append(f"{corrections} record{' was' if corrections == 1 else 's were'} corrected or withdrawn.")
    return said


def _systems(count: int) -> str:
    return "1 system" if count == 1 else f"{count} systems"
