"""Records of many systems laid out as nodes of one filter: readings and water changes, and what runs in between.

Between two nodes inputs change: doses begin and end, drips wander. Each step is cut into pieces of constant rates and
put together again exactly (`pieces`).

Inputs are not exact. What all checks and calibrations of a system leave uncertain for good acts with the root of the
summed squares of (rate x relative sd) of all inputs. What wanders between checks is a supply error in concentration a
day, with the variance and persistence the checks leave it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import SystemHistory
from service.science.input_checks import InputCourse, input_courses
from service.science.nodes import Nodes
from service.science.pieces import Pieces, active, compose

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Timeline:
    """All systems side by side, every array (nodes, systems) unless said; a short record is padded with empty nodes.

    decay, response, push, lasting_push: the step before the node (push: what known inputs bring, lasting_push: sd of
    what they may bring too little or too much for good). demand_11, demand_12, demand_22, level_11: covariance entries
    per s_d^2, s_a^2. wander_keep, wander_noise: the wandering supply error; wander_start (systems) its variance at the
    first node. fraction .. new_variance: the water change at the node. reading, variance, has_reading, lot_changed;
    source: index of the reading in the record (-1: none). jump_variance: by which the level may have jumped just before
    the node (0 as laid out). nodes_used (systems): nodes that are not padding. supply (systems): mean net supply.
    """

    at_days: Values
    decay: Values
    response: Values
    push: Values
    lasting_push: Values
    demand_11: Values
    demand_12: Values
    demand_22: Values
    level_11: Values
    wander_keep: Values
    wander_noise: Values
    wander_start: Values
    fraction: Values
    fraction_variance: Values
    new_value: Values
    new_variance: Values
    reading: Values
    variance: Values
    has_reading: Flags
    lot_changed: Flags
    source: Whole
    jump_variance: Values
    nodes_used: Whole
    supply: Values

    def take(self, lanes: Whole | Flags) -> "Timeline":
        """The timeline of some of the systems."""
        return Timeline(**{name: getattr(self, name)[..., lanes] for name in self.__dataclass_fields__})


def lay_out(*, histories: Sequence[SystemHistory], at_days: Values) -> Timeline:
    """The timeline of histories with at least one reading each, up to an instant each; later entries are included.

    Check value: none, tested by test_pieces_of_a_step_compose_exactly. Source: VANLOAN78.
    """
    nodes = [Nodes.of(history, at_day) for history, at_day in zip(histories, at_days, strict=True)]
    courses = _courses(histories, nodes)
    shape = (max(len(each.at_days) for each in nodes), len(histories))
    zero = ("fraction", "fraction_variance", "new_value", "new_variance", "reading", "wander_noise", "jump_variance")
    table = {name: np.zeros(shape) for name in zero}
    table |= {"variance": np.ones(shape), "wander_keep": np.ones(shape), "at_days": np.empty(shape)}
    has_reading, lot_changed = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    source, wander_start = np.full(shape, -1, dtype=np.int64), np.zeros(shape[1])
    pieces = []
    for lane, (history, each, inputs) in enumerate(zip(histories, nodes, courses, strict=True)):
        tests, changes, count = each.tests, history.water_changes, len(each.at_days)
        table["at_days"][:count, lane], table["at_days"][count:, lane] = each.at_days, each.at_days[-1]
        table["reading"][each.test_node, lane] = tests.value
        table["variance"][each.test_node, lane] = tests.variance
        has_reading[each.test_node, lane] = True
        lot_changed[each.test_node[1:], lane] = tests.lot[1:] != tests.lot[:-1]
        source[each.test_node, lane] = tests.source
        table["fraction"][each.change_node, lane] = changes.fraction[each.change]
        table["fraction_variance"][each.change_node, lane] = changes.fraction_sd[each.change] ** 2
        table["new_value"][each.change_node, lane] = changes.new_value[each.change]
        table["new_variance"][each.change_node, lane] = changes.new_value_sd[each.change] ** 2
        level = float(np.median(tests.value))
        pieces.append(Pieces.of(history, inputs, each.at_days, level))
        if inputs:
            wander = _Wander.of(history, inputs, each.at_days, level)
            wander_start[lane] = wander.variance[0]
            table["wander_keep"][:count, lane], table["wander_noise"][:count, lane] = wander.steps()
    return Timeline(
        **table,
        **compose(pieces=pieces, nodes=shape[0]),
        wander_start=wander_start,
        has_reading=has_reading,
        lot_changed=lot_changed,
        source=source,
        nodes_used=np.array([len(each.at_days) for each in nodes]),
        supply=np.array([(each.net_rate * each.dt).sum() / max(each.dt.sum(), 1e-9) for each in pieces]),
    )


def _courses(histories: Sequence[SystemHistory], nodes: list[Nodes]) -> list[list[tuple[InputCourse, InputCourse]]]:
    """Flow and inflow of every feed of every system on the nodes of its system."""
    checks, grids = [], []
    for history, each in zip(histories, nodes, strict=True):
        for feed in history.feeds:
            checks += [feed.flow, feed.inflow]
            grids += [np.unique(each.at_days)] * 2
    courses = iter(input_courses(checks=checks, grid_days=grids))
    return [[(next(courses), next(courses)) for _ in history.feeds] for history in histories]


@dataclass(slots=True)
class _Wander:
    """Variance of the summed wandering errors at the nodes, and their covariance with the next node's."""

    variance: Values
    covariance: Values

    @classmethod
    def of(
        cls, history: SystemHistory, courses: list[tuple[InputCourse, InputCourse]], grid: Values, level: float
    ) -> "_Wander":
        """All feeds of one system: k (A_in - A) times the error of the flow, k A_in times that of the inflow."""
        found = cls(np.zeros(len(grid)), np.zeros(len(grid)))
        just_after = np.minimum(grid + 1e-9, grid[-1])
        for feed, (flow, inflow) in zip(history.feeds, courses, strict=True):
            rate, value = flow.value_at(just_after) * active(feed, just_after), inflow.value_at(just_after)
            found._add(rate * (value - level), flow, grid)
            found._add(rate * value, inflow, grid)
        return found

    def _add(self, weight: Values, course: InputCourse, grid: Values) -> None:
        """One more input with its weight at the nodes, concentration a day per relative error."""
        variance = course.variance_at(grid)
        self.variance += weight**2 * variance
        self.covariance += weight * np.append(weight[1:], 0.0) * course.persistence_between(grid) * variance

    def steps(self) -> tuple[Values, Values]:
        """What is kept of the error from the node before, and the variance of what is new."""
        before = self.variance[:-1]
        keep = np.where(before > 0, self.covariance[:-1] / np.where(before > 0, before, 1.0), 0.0)
        noise = np.maximum(self.variance[1:] - keep**2 * before, 0.0)
        return np.concatenate([[1.0], keep]), np.concatenate([[0.0], noise])
