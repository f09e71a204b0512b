"""The record of one gas line: its cylinders one after the other, their weighings, and changes of flow that were noted.

Laid out as the nodes of a filter whose state is [mass as the scale tells it, kg; rate of use, kg/d].
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from service.science import Values
from service.science.smoother import Mixing, Step
from service.science.transition import demand_covariance_days2, demand_variance_days3

ANY_MASS_VARIANCE = 1e4
"""Of a new cylinder of which nothing is known yet, kg2."""
SCALE_SD_KG = 0.020
TARE_SD_KG = 0.020
CHARGE_RELATIVE_SD = 0.05
"""Common practice: a workshop scale, a stamped tare with what hung on the scale recorded, a supplier's fill."""
UNKNOWN_STEP_SD = 0.3
"""A change of flow of which only the moment was noted: relative sd of what it did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """A cylinder on the line from a day on; cylinders that drain together count as one, summed.

    charge_kg: mass of gas when it was put on, if known. tare_sd_kg: what all its weighings may be off together.
    """

    from_days: float
    charge_kg: float | None = None
    charge_sd_kg: float | None = None
    tare_sd_kg: float = TARE_SD_KG


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """Gross mass less tare and less everything else that hung on the scale, kg; cylinder counts from 0."""

    at_days: float
    net_kg: float
    cylinder: int
    sd_kg: float = SCALE_SD_KG


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowChange:
    """A change of the gas flow that was noted: what it is thought to have multiplied the rate by, and how surely.

    Without a stated ratio only the moment is known.
    """

    at_days: float
    ratio: float = 1.0
    relative_sd: float = UNKNOWN_STEP_SD


@dataclass(frozen=True, slots=True, kw_only=True)
class GasLineHistory:
    """What was recorded of one gas line, in any order. ValueError where it contradicts itself."""

    cylinders: tuple[Cylinder, ...]
    weighings: tuple[Weighing, ...] = ()
    flow_changes: tuple[FlowChange, ...] = ()

    def __post_init__(self) -> None:
        starts = [each.from_days for each in self.cylinders]
        if not starts or any(later <= earlier for earlier, later in pairwise(starts)):
            raise ValueError("cylinders: name at least one, in the order they were put on, each after the one before")
        ends = [*starts[1:], np.inf]
        for index, weighing in enumerate(self.weighings):
            if not 0 <= weighing.cylinder < len(starts):
                raise ValueError(f"weighings[{index}].cylinder: no such cylinder on this line")
            if not starts[weighing.cylinder] <= weighing.at_days <= ends[weighing.cylinder]:
                raise ValueError(f"weighings[{index}].at_days: the cylinder was not on the line then")
            if not weighing.sd_kg > 0.0:
                raise ValueError(f"weighings[{index}].sd_kg: must be above 0")
        for index, change in enumerate(self.flow_changes):
            if not (change.ratio > 0.0 and change.relative_sd >= 0.0):
                raise ValueError(f"flow_changes[{index}]: ratio must be above 0 and relative_sd not below")


@dataclass(frozen=True, slots=True)
class Nodes:
    """Filter nodes of several lines, (nodes, lines) each; unused ones at the end stand still and read nothing.

    ratio and step_sd: what happens to the rate at the node; is_swap: a new cylinder; source: index of the weighing, -1
    for a stated charge, -2 for none.
    """

    at_days: Values
    ratio: Values
    step_sd: Values
    is_swap: NDArray[np.bool_]
    reading: Values
    reading_variance: Values
    has_reading: NDArray[np.bool_]
    source: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class FirstGuess:
    """Where the filter starts, (lines): mass and rate with the sd of the rate, and the size of the rate.

    NaN rates where no cylinder was weighed at two times.
    """

    mass_kg: Values
    rate_kg_d: Values
    rate_sd_kg_d: Values
    rate_size_kg_d: Values


class _Kind(IntEnum):
    """What happens at one instant, in the order it happens: the old cylinder is weighed before it is taken off."""

    OLD = 0
    CHANGE = 1
    SWAP = 2
    NEW = 3
    NOW = 4


def lay_out(*, histories: Sequence[GasLineHistory], at_days: Sequence[float]) -> Nodes:
    """Every line's record as nodes up to its own instant; what lies after it is left out."""
    lanes = [_events(history, at) for history, at in zip(histories, at_days, strict=True)]
    shape = (max(map(len, lanes)), len(lanes))
    nodes = Nodes(
        at_days=np.empty(shape),
        ratio=np.ones(shape),
        step_sd=np.zeros(shape),
        is_swap=np.zeros(shape, dtype=np.bool_),
        reading=np.zeros(shape),
        reading_variance=np.ones(shape),
        has_reading=np.zeros(shape, dtype=np.bool_),
        source=np.full(shape, -2),
    )
    for lane, events in enumerate(lanes):
        nodes.at_days[:, lane] = events[-1][0]
        for node, (day, kind, source, value, sd) in enumerate(events):
            nodes.at_days[node, lane] = day
            if kind is _Kind.CHANGE:
                nodes.ratio[node, lane], nodes.step_sd[node, lane] = value, sd
            elif kind is _Kind.SWAP:
                nodes.is_swap[node, lane] = True
            if kind is not _Kind.CHANGE and np.isfinite(value):
                nodes.reading[node, lane], nodes.reading_variance[node, lane] = value, sd**2
                nodes.has_reading[node, lane], nodes.source[node, lane] = True, source
    return nodes


def first_guess(*, nodes: Nodes) -> FirstGuess:
    """A rate from all cylinders' weighings by least squares, as if it had been constant; its sd left wide.

    Source: AITKEN35. Check value: none, tested by test_a_constant_rate_is_found. Shapes: one entry a line.
    """
    lines = nodes.at_days.shape[1]
    mass, rate, sd = np.zeros(lines), np.full(lines, np.nan), np.full(lines, np.nan)
    for lane in range(lines):
        cylinder = np.cumsum(nodes.is_swap[:, lane])
        known = nodes.has_reading[:, lane]
        if known.any():
            mass[lane] = nodes.reading[known, lane][0]
        spread = along = 0.0
        for each in np.unique(cylinder[known]):
            of_it = known & (cylinder == each)
            weight = 1.0 / nodes.reading_variance[of_it, lane]
            day, value = nodes.at_days[of_it, lane], nodes.reading[of_it, lane]
            apart = day - (weight * day).sum() / weight.sum()
            spread += float((weight * apart**2).sum())
            along -= float((weight * apart * value).sum())
        if spread > 0.0:
            rate[lane], sd[lane] = along / spread, spread**-0.5
    size = np.maximum(np.abs(rate), sd)
    return FirstGuess(mass, rate, 3.0 * (size + sd), size)


def steps(*, nodes: Nodes, drift: Values, rate_size_kg_d: Values) -> Sequence[Step]:
    """The filter's steps. drift (lines, settings): sd the rate gains, kg/d per sqrt(day).

    Source: DERIVED, VANLOAN78. Check value: none, tested by test_a_constant_rate_is_found.
    """
    shape = drift.shape
    gaps = np.diff(nodes.at_days, axis=0, prepend=nodes.at_days[:1])
    still = np.zeros_like(gaps)
    mass_gain = demand_variance_days3(exchange_per_day=still, dt_days=gaps)
    both_gain = demand_covariance_days2(exchange_per_day=still, dt_days=gaps)
    made = []
    for node, gap in enumerate(gaps):
        ratio = nodes.ratio[node][:, None]
        one = np.ones_like(ratio)
        noise = np.empty((2, 2, *shape))
        noise[0, 0] = mass_gain[node][:, None] * drift**2
        noise[0, 1] = noise[1, 0] = ratio * both_gain[node][:, None] * drift**2
        jump = nodes.step_sd[node] * nodes.ratio[node] * rate_size_kg_d
        noise[1, 1] = ratio**2 * gap[:, None] * drift**2 + jump[:, None] ** 2
        swap = nodes.is_swap[node][:, None].astype(np.float64)
        made.append(
            Step(
                first_row=np.stack([one, -gap[:, None]]),
                carry=np.stack([0.0 * one, ratio]),
                push=0.0 * one,
                noise=noise,
                mixing=Mixing(swap, 0.0 * swap, 0.0 * swap, ANY_MASS_VARIANCE * swap) if swap.any() else None,
                reading=nodes.reading[node][:, None],
                reading_variance=nodes.reading_variance[node][:, None],
                has_reading=nodes.has_reading[node][:, None] if nodes.has_reading[node].any() else None,
            )
        )
    return made


def _events(history: GasLineHistory, at: float) -> list[tuple[float, _Kind, int, float, float]]:
    """Day, kind, index of the weighing, value and sd, in the order they happened, ending with the instant asked."""
    found = [(at, _Kind.NOW, -2, np.nan, np.nan)]
    on_line = sum(each.from_days <= at for each in history.cylinders)
    if not on_line:
        raise ValueError("at_days: no cylinder was on the line yet")
    for index, cylinder in enumerate(history.cylinders[:on_line]):
        charge, charge_sd = cylinder.charge_kg, cylinder.charge_sd_kg
        value = np.nan if charge is None else charge
        spread = np.hypot(CHARGE_RELATIVE_SD * value if charge_sd is None else charge_sd, cylinder.tare_sd_kg)
        kind = _Kind.SWAP if index else _Kind.OLD
        found.append((cylinder.from_days, kind, -1, value, float(spread)))
    for index, weighing in enumerate(history.weighings):
        if weighing.at_days <= at and weighing.cylinder < on_line:
            was_put_on = weighing.at_days == history.cylinders[weighing.cylinder].from_days
            kind = _Kind.NEW if was_put_on else _Kind.OLD
            found.append((weighing.at_days, kind, index, weighing.net_kg, weighing.sd_kg))
    start = history.cylinders[0].from_days
    for change in history.flow_changes:
        if start <= change.at_days <= at:
            found.append((change.at_days, _Kind.CHANGE, -2, change.ratio, change.relative_sd))
    return sorted(found, key=lambda event: event[:2])
