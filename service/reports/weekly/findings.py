"""What was found on a site, each finding with the name of what it is about, ordered by how much it presses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from uuid import UUID

Remark = Mapping[str, Any]
Rows = Iterable[Mapping[str, Any]]

DANGER = ("no_drip", "gas_leak", "gas_missing", "heavier_than_full")  # gas where it should not be
ANIMALS = ("effluent_below_tank", "level_shift", "precipitation")  # water that changes at once
GAS = ("no_gas_seen", "gas_unweighed", "bubbles_changed", "scale_jump", "heavier_than_charge", "lighter_than_tare")
URGENCY = {code: rank for rank, codes in enumerate((DANGER, ANIMALS, GAS)) for code in codes}
LATER = 3


def together(*found: Mapping[UUID, Sequence[Remark]]) -> dict[UUID, list[Remark]]:
    """What several computations found, by subject."""
    joined: dict[UUID, list[Remark]] = {}
    for each in found:
        for subject_id, remarks in each.items():
            joined.setdefault(subject_id, []).extend(remarks)
    return joined


def merged(found: Mapping[UUID, Sequence[Remark]], *, lines: Rows, reactors: Rows, gas: Rows) -> list[dict[str, Any]]:
    """Add what was found elsewhere to the rows of its subjects; what belongs to none of them is returned.

    `found` holds the remarks of each subject. A remark that a row has already, code and words, is not added again.
    """
    rows = {
        **{row["system_id"]: row for row in lines},
        **{row["reactor_id"]: row for row in reactors},
        **{row["gas_line_id"]: row for row in gas},
    }
    left: list[dict[str, Any]] = []
    for subject_id, remarks in found.items():
        own: list[dict[str, Any]] = rows[subject_id]["findings"] if subject_id in rows else left
        known = {(each["code"], each["detail"]) for each in own}
        for each in remarks:
            if (each["code"], each["detail"]) not in known:
                known.add((each["code"], each["detail"]))
                own.append({"code": each["code"], "detail": each["detail"], "subject_id": subject_id})
    return left


def told(
    *, lines: Rows, reactors: Rows, gas: Rows, elsewhere: Iterable[Remark], names: Mapping[UUID, str]
) -> list[dict[str, Any]]:
    """Every finding with the name of its subject, the most pressing first."""
    found = [
        *(_named(each, row["name"]) for row in lines for each in row["findings"]),
        *(_named(each, row["name"]) for row in reactors for each in row["findings"]),
        *(_named(row["gas_finding"], row["name"]) for row in reactors if row["gas_finding"] is not None),
        *(_named(each, row["name"]) for row in gas for each in row["findings"]),
        *(_named(each, names.get(each["subject_id"])) for each in elsewhere),
    ]
    return sorted(found, key=lambda each: urgency(each["code"]))


def urgency(code: str) -> int:
    """0 for danger, 1 for animals, 2 for gas, 3 for everything else."""
    return URGENCY.get(code, LATER)


def _named(found: Remark, name: str | None) -> dict[str, Any]:
    return {"code": found["code"], "detail": found["detail"], "subject_id": found["subject_id"], "subject": name}
