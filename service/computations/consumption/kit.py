"""Does the kit read true? What check standards and the step at a new reagent lot say of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.resources.records.check_standards import StandardRead
from service.science.answer import ConsumptionEstimate
from service.science.kit_check import LotBias, Spreads, Step, lot_bias
from service.science.kit_check import StandardRead as Standard

TIMES_AS_LIKELY = {0: 20.0, 1: 8.0, 2: 4.5}
TIMES_AS_LIKELY_AFTERWARDS = 100.0
"""So many times as probable as a usual lot one that is off must make what was read, by how many check standards were
read with the lot: it is looked at again and again, and each look is given its share of the false alarms (a group
sequential test). The most goes to the first two standards, where a fault is still news; by the calculation in
TRUST.md."""
STANDARD_RELATIVE_SD = 0.005
"""Of a check standard made up by weight or bought (common practice)."""
USUAL_LOT_RELATIVE_SD = 0.007
USUAL_LOT_PER_NOISE = 0.3
"""What reagent lots differ by, 0.02 meq/L of alkalinity, or a third of the kit's own scatter (common practice)."""
OFF_PER_USUAL = 5.0
"""A lot that is off is off by so many times as much as usual lots, 0.1 meq/L of alkalinity (a judgement)."""
MOVED_RELATIVE_SD = 0.18
"""Of what somebody adds or changes, of the level: 0.5 meq/L of alkalinity (a judgement)."""
SAME_TIME_DAYS = 0.25


@dataclass(frozen=True)
class LotFound:
    """A lot that is off by more than lots usually are: the evidence, and how sure."""

    lot_id: UUID
    bias: LotBias
    standards: int
    steps: int


@dataclass(frozen=True)
class StepSeen:
    """How far one lot reads from another in the water of some system, with its sd."""

    old_lot: UUID
    new_lot: UUID
    size: float
    sd: float


def steps_seen(estimate: ConsumptionEstimate, lot_ids: Sequence[UUID]) -> list[StepSeen]:
    """The steps at new lots that one system's readings tell, between named lots."""
    known = range(1, len(lot_ids) + 1)
    return [
        StepSeen(lot_ids[step.old_lot - 1], lot_ids[step.new_lot - 1], step.size, step.sd)
        for step in estimate.lot_steps
        if step.old_lot in known and step.new_lot in known
    ]


def lot_in_use(
    estimate: ConsumptionEstimate,
    lots: Sequence[int],
    lot_ids: Sequence[UUID],
    standards: Sequence[StandardRead],
    beside: Sequence[StepSeen] = (),
) -> LotFound | None:
    """What the lot last used is off by, where it is beyond what lots usually are; None else, or where none is named.

    beside: the steps that other systems tested with the same kit tell. lots: the number of the lot of each reading
    (0: none; a probe's is beyond lot_ids), in time order; lot_ids: the ids of the numbers from 1.
    """
    used = [int(number) for number in lots if 0 < number <= len(lot_ids)]
    if not used:
        return None
    current = used[-1]
    number = {lot_id: index + 1 for index, lot_id in enumerate(lot_ids)}
    own_kits = [row for row in standards if row.lot_id in number]
    read = [Standard(lot=number[lot_id], off=off, sd=sd) for lot_id, off, sd in _averaged(own_kits)]
    seen = [
        each for each in (*steps_seen(estimate, lot_ids), *beside) if each.old_lot in number and each.new_lot in number
    ]
    steps = [
        Step(old_lot=number[each.old_lot], new_lot=number[each.new_lot], size=each.size, sd=each.sd) for each in seen
    ]
    size = float(np.mean([row.stated for row in own_kits])) if own_kits else _level(estimate)
    if size is None:
        return None
    scatter = float(np.mean([row.sd for row in own_kits])) if own_kits else 0.0
    usual = max(USUAL_LOT_RELATIVE_SD * size, USUAL_LOT_PER_NOISE * scatter)
    spreads = Spreads(
        usual=usual, off=OFF_PER_USUAL * usual, standard=STANDARD_RELATIVE_SD * size, moved=MOVED_RELATIVE_SD * size
    )
    bias = lot_bias(lot=current, standards=read, steps=steps, spreads=spreads)
    own, waters = sum(each.lot == current for each in read), sum(step.new_lot == current for step in steps)
    if not bias.log_factor > np.log(TIMES_AS_LIKELY.get(own, TIMES_AS_LIKELY_AFTERWARDS)):
        return None
    return LotFound(lot_ids[current - 1], bias, own, waters)


def kit_finding(
    found: LotFound, *, quantity: str, level: Callable[[float], float], unit: str, system_id: UUID
) -> dict[str, Any]:
    """The remark; `level` converts from canonical to the unit shown."""
    off, low, high = (level(each) for each in _ends(found.bias))
    way = "high" if found.bias.value > 0 else "low"
    by = []
    if found.standards:
        by.append(f"{found.standards} check standard{'s' if found.standards > 1 else ''} read with it")
    if found.steps:
        where = f" in {found.steps} systems" if found.steps > 1 else ""
        by.append(f"the step in the water's readings{where} when it was opened")
    detail = (
        f"The {quantity} kit reads {off:.2f} ({low:.2f} to {high:.2f}) {unit} {way} with the lot in "
        f"use, by {' and '.join(by)}. Read a check standard in duplicate, and the tank with another lot, before "
        "anything is turned."
    )
    return remark("kit_off", detail, system_id)


def _ends(bias: LotBias) -> tuple[float, float, float]:
    """The bias with its interval, none of it beyond zero."""
    half = 1.959964 * bias.sd
    least = max(abs(bias.value) - half, 0.0)
    return abs(bias.value), least, abs(bias.value) + half


def _averaged(standards: Sequence[StandardRead]) -> list[tuple[UUID, float, float]]:
    """Replicates of one check averaged: lot, read less stated, sd."""
    groups: list[list[StandardRead]] = []
    for row in standards:
        last = groups[-1][0] if groups else None
        near = last is not None and (row.at - last.at).total_seconds() <= SAME_TIME_DAYS * 86_400
        if last is not None and near and row.lot_id == last.lot_id and row.stated == last.stated:
            groups[-1].append(row)
        else:
            groups.append([row])
    return [
        (
            group[0].lot_id,
            float(np.mean([row.value - row.stated for row in group])),
            float(np.sqrt(np.sum([row.sd**2 for row in group])) / len(group)),
        )
        for group in groups
    ]


def _level(estimate: ConsumptionEstimate) -> float | None:
    return None if estimate.expected is None else estimate.expected.value
