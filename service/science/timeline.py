"""Records of many systems laid out as nodes of one filter: readings and water changes, and what runs in between.

Between two nodes inputs change: doses begin and end, drips wander. Each step is cut into pieces of constant rates and
put together again exactly (`pieces`).

Inputs are not exact. What all checks and calibrations of a system leave uncertain for good acts with the root of the
summed squares of (rate x relative sd) of all inputs. What wanders between checks is a supply error in concentration a
day, with the variance and persistence the checks leave it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.science.history import SystemHistory
from service.science.input_checks import InputCourses, input_courses
from service.science.nodes import Nodes
from service.science.pieces import Feeds, Pieces, compose
from service.science.ragged import medians, places, stretches

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

    def take(self, lanes: Whole | Flags, nodes: int | None = None) -> "Timeline":
        """The timeline of some of the systems, as far as the first so many nodes (None: all of them)."""
        columns = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return Timeline(
            **{name: each[lanes] if each.ndim == 1 else each[:nodes, lanes] for name, each in columns.items()}
        )


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A timeline and the pieces that its steps are put together from."""

    timeline: Timeline
    pieces: Pieces

    def with_streams(self, *, rate: Values, level: Values) -> Timeline:
        """The timeline of each system under each stream: volumes a day (systems, streams) of some level (systems).

        Arrays (nodes, systems x streams), the streams of a system side by side. Only the steps are laid out anew.
        """
        nodes, systems = self.timeline.reading.shape
        streams = [self.pieces.with_streams(each, level) for each in rate.T]
        composed = [compose(pieces=each, nodes=nodes, records=systems) for each in streams]
        steps: dict[str, Any] = {
            name: np.stack([each[name] for each in composed], axis=2).reshape(nodes, -1) for name in composed[0]
        }
        return replace(self.timeline.take(np.repeat(np.arange(systems), len(streams))), **steps)


def lay_out(*, histories: Sequence[SystemHistory], at_days: Values) -> Timeline:
    """The timeline of histories with at least one reading each, up to an instant each; later entries are included.

    Check value: none, tested by test_pieces_of_a_step_compose_exactly. Source: DERIVED, VANLOAN78.
    """
    return lay_out_pieces(histories=histories, at_days=at_days).timeline


def lay_out_pieces(*, histories: Sequence[SystemHistory], at_days: Values) -> LaidOut:
    """The same with the pieces, for who asks what another stream would make of it.

    Check value: none, tested by test_a_stream_laid_on_is_a_feed_known_exactly. Source: DERIVED, VANLOAN78.
    """
    nodes = Nodes.of(histories, at_days)
    tests, days, record = nodes.tests, nodes.places.imag, nodes.record
    shape = (int(nodes.used.max()), len(histories))
    at = (np.arange(len(record)) - nodes.first[record], record)  # where each node stands in a table
    read, changed = ((at[0][node], at[1][node]) for node in (nodes.test_node, nodes.change_node))
    level = medians(tests.value, tests.record, len(histories))
    feeds = Feeds.of(histories)
    courses = _courses(histories, feeds, nodes)
    pieces = Pieces.of(histories, feeds, courses, nodes, level)
    wander = _Wander.of(feeds, courses, nodes, level)
    keep, noise = wander.steps(nodes)
    fraction, fraction_sd, new_value, new_value_sd = (
        np.concatenate([getattr(history.water_changes, name) for history in histories])[nodes.change]
        for name in ("fraction", "fraction_sd", "new_value", "new_value_sd")
    )
    same = tests.record[1:] == tests.record[:-1]
    new_lot = np.append(False, same & (tests.lot[1:] != tests.lot[:-1]))
    padded = np.repeat(nodes.end_days[None], shape[0], axis=0)
    timeline = Timeline(
        **compose(pieces=pieces, nodes=shape[0], records=shape[1]),
        at_days=_table(padded, at, days),
        wander_keep=_table(np.ones(shape), at, keep),
        wander_noise=_table(np.zeros(shape), at, noise),
        wander_start=wander.variance[nodes.first[:-1]],
        fraction=_table(np.zeros(shape), changed, fraction),
        fraction_variance=_table(np.zeros(shape), changed, fraction_sd**2),
        new_value=_table(np.zeros(shape), changed, new_value),
        new_variance=_table(np.zeros(shape), changed, new_value_sd**2),
        reading=_table(np.zeros(shape), read, tests.value),
        variance=_table(np.ones(shape), read, tests.variance),
        has_reading=_table(np.zeros(shape, dtype=np.bool_), read, np.True_),
        lot_changed=_table(np.zeros(shape, dtype=np.bool_), read, new_lot),
        source=_table(np.full(shape, -1, dtype=np.int64), read, tests.source),
        jump_variance=np.zeros(shape),
        nodes_used=nodes.used,
        supply=pieces.mean_supply(len(histories)),
    )
    return LaidOut(timeline, pieces)


def _table(table: NDArray[Any], at: tuple[Whole, Whole], values: NDArray[Any] | np.bool_) -> NDArray[Any]:
    """A table with values put in their places."""
    table[at] = values
    return table


def _courses(histories: Sequence[SystemHistory], feeds: Feeds, nodes: Nodes) -> InputCourses:
    """Flow and inflow of every feed of every system on the nodes of its system."""
    checks = [each for history in histories for feed in history.feeds for each in (feed.flow, feed.inflow)]
    whose = np.repeat(feeds.record, 2)
    node, number = stretches(nodes.first[whose], nodes.used[whose])
    return input_courses(checks=checks, grid=places(number, nodes.places.imag[node]))


@dataclass(slots=True)
class _Wander:
    """Variance of the summed wandering errors at the nodes, and their covariance with the next node's."""

    variance: Values
    covariance: Values

    @classmethod
    def of(cls, feeds: Feeds, courses: InputCourses, nodes: Nodes, level: Values) -> "_Wander":
        """All feeds of each system: k (A_in - A) times the error of the flow, k A_in times that of the inflow."""
        count = len(nodes.places)
        found = cls(np.zeros(count), np.zeros(count))
        if not len(feeds.record):
            return found
        node, feed = stretches(nodes.first[feeds.record], nodes.used[feeds.record])
        days, record = nodes.places.imag[node], feeds.record[feed]
        rate, value = feeds.running(feed, np.minimum(days + 1e-9, nodes.end_days[record]), courses)
        for number, weight in ((2 * feed, rate * (value - level[record])), (2 * feed + 1, rate * value)):
            at = places(number, days)
            variance, kept = courses.variance_at(at), courses.persistence_to_next(at)
            covariance = weight * np.append(weight[1:], 0.0) * kept * variance
            found.variance += np.bincount(node, weight**2 * variance, count)
            found.covariance += np.bincount(node, covariance, count)
        return found

    def steps(self, nodes: Nodes) -> tuple[Values, Values]:
        """What is kept of the error from the node before, and the variance of what is new; 1 and 0 at the first."""
        before = self.variance[:-1]
        keep = np.where(before > 0, self.covariance[:-1] / np.where(before > 0, before, 1.0), 0.0)
        noise = np.maximum(self.variance[1:] - keep**2 * before, 0.0)
        keep, noise = np.append(1.0, keep), np.append(0.0, noise)
        # Without feeds there is no error: it is kept whole, so that nothing is made of it.
        keep[~nodes.has_feeds[nodes.record]] = 1.0
        keep[nodes.first[:-1]], noise[nodes.first[:-1]] = 1.0, 0.0
        return keep, noise
