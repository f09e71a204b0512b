"""Records of many systems laid out as nodes of one filter: readings and water changes, and what runs in between.

Between two nodes inputs change: doses begin and end, drips wander. Each step is therefore cut into pieces of constant
rates, each taken exactly, and the pieces are put together again exactly: with E and G the decay and response from the
end of a piece to the end of its step, a piece with decay e, response g and covariance q adds g E to the response and
E^2 q11 - 2 E G q12 + G^2 q22, E q12 - G q22, q22 to the covariance.

Inputs are not exact. What all checks and calibrations of a system leave uncertain for good is one unknown number,
standard normal, that acts with the root of the summed squares of (rate x relative sd) of all inputs. What wanders
between checks is a supply error in concentration a day, with the variance and persistence the checks leave it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import Doses, Feed, SystemHistory
from service.science.input_checks import InputCourse, input_courses
from service.science.transition import transition

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

SHORTEST_DOSE_DAYS = 1.0 / 1440.0
LONGEST_STEP_DAYS = 3.0
"""Steps of systems with feeds are no longer: the wandering error is taken as straight between two nodes."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """All systems side by side, every array (nodes, systems) unless said; a short record is padded with empty nodes.

    decay, response, push, lasting_push: the step before the node (push: what known inputs bring, lasting_push: what one
    unit of the lasting unknown brings). demand_11, demand_12, demand_22, level_11: covariance entries per s_d^2, s_a^2.
    wander_keep, wander_noise: the wandering supply error; wander_start (systems) its variance at the first node.
    fraction .. new_variance: the water change at the node. reading, variance, has_reading, lot_changed; source: index
    of the reading in the record (-1: none). nodes_used (systems): nodes that are not padding.
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
    """Variance by which the level is taken to have jumped just before a node: 0 as laid out."""
    nodes_used: Whole
    supply: Values
    """Mean rate of what known inputs bring (systems), concentration a day, at the mean concentration on record."""

    def take(self, lanes: Whole | Flags) -> "Timeline":
        """The timeline of some of the systems."""
        return Timeline(**{name: getattr(self, name)[..., lanes] for name in self.__dataclass_fields__})


def lay_out(*, histories: Sequence[SystemHistory], at_days: Values) -> Timeline:
    """The timeline of histories with at least one reading each, up to an instant each; later entries are included.

    Check value: none, tested by test_pieces_of_a_step_compose_exactly. Source: VANLOAN78.
    """
    courses = _courses(histories, at_days)
    records = [_Record.of(each, at, course) for each, at, course in zip(histories, at_days, courses, strict=True)]
    nodes, systems = max(len(record.at) for record in records), len(records)

    def table(name: str, fill: float = 0.0) -> Values:
        whole = np.full((nodes, systems), fill)
        for lane, record in enumerate(records):
            column = getattr(record, name)
            whole[: len(column), lane] = column
        return whole

    has_reading = table("has_reading") > 0
    steps = _compose(records, nodes)
    keep, noise = table("wander_keep", 1.0), table("wander_noise")
    return Timeline(
        at_days=np.stack([np.append(r.at, np.full(nodes - len(r.at), r.at[-1])) for r in records], axis=1),
        **steps,
        wander_keep=keep,
        wander_noise=noise,
        wander_start=np.array([record.wander_start for record in records]),
        fraction=table("fraction"),
        fraction_variance=table("fraction_variance"),
        new_value=table("new_value"),
        new_variance=table("new_variance"),
        reading=table("reading"),
        variance=table("variance", 1.0),
        has_reading=has_reading,
        lot_changed=table("lot_changed") > 0,
        source=table("source", -1.0).astype(np.int64),
        jump_variance=np.zeros((nodes, systems)),
        nodes_used=np.array([len(record.at) for record in records]),
        supply=np.array([record.mean_supply for record in records]),
    )


@dataclass(frozen=True, slots=True)
class _Record:
    """One system: its nodes, and its pieces with rates (pieces; node: the node each piece leads to)."""

    at: Values
    reading: Values
    variance: Values
    has_reading: Values
    lot_changed: Values
    source: Values
    fraction: Values
    fraction_variance: Values
    new_value: Values
    new_variance: Values
    wander_keep: Values
    wander_noise: Values
    wander_start: float
    mean_supply: float
    node: Whole
    dt: Values
    exchange: Values
    supply_rate: Values
    lasting_rate: Values

    @classmethod
    def of(cls, history: SystemHistory, at_day: float, courses: "list[tuple[InputCourse, InputCourse]]") -> "_Record":
        tests = average_replicates(history)
        changes = history.water_changes
        grid = node_days(history, at_day)
        count, inner = len(grid), np.flatnonzero((changes.at_days > grid[0]) & (changes.at_days <= grid[-1]))
        reading_node = _positions(grid, tests[0], after=False)
        change_node = _positions(grid, changes.at_days[inner], after=True)

        def at_nodes(where: Whole, values: Values, fill: float = 0.0) -> Values:
            column = np.full(count, fill)
            column[where] = values
            return column

        lot = tests[3]
        level = float(np.median(tests[1]))
        edges = _edges(history, courses, grid)
        dt, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
        dosed, dosed_squared = _dose_rates(history.doses, edges)
        exchange, brought = np.zeros(len(middle)), dosed.copy()
        wander = _Wander.none(count)
        for feed, (flow, inflow) in zip(history.feeds, courses, strict=True):
            rate, value = flow.value_at(middle) * _active(feed, middle), inflow.value_at(middle)
            exchange += rate
            brought += rate * value
            dosed_squared += (rate * (value - level) * feed.flow.systematic_sd) ** 2
            dosed_squared += (rate * value * feed.inflow.systematic_sd) ** 2
            at_node = np.minimum(grid + 1e-9, grid[-1])
            node_rate, node_value = flow.value_at(at_node) * _active(feed, at_node), inflow.value_at(at_node)
            wander.add(node_rate * (node_value - level), flow, grid)
            wander.add(node_rate * node_value, inflow, grid)
        supply = brought - exchange * level
        lasting = np.sqrt(dosed_squared + (history.volume_relative_sd * supply) ** 2)
        keep, noise = wander.steps()
        return cls(
            at=grid,
            reading=at_nodes(reading_node, tests[1]),
            variance=at_nodes(reading_node, tests[2], 1.0),
            has_reading=at_nodes(reading_node, np.ones(len(reading_node))),
            lot_changed=at_nodes(reading_node, np.diff(lot, prepend=lot[:1]) != 0),
            source=at_nodes(reading_node, tests[4].astype(np.float64), -1.0),
            fraction=at_nodes(change_node, changes.fraction[inner]),
            fraction_variance=at_nodes(change_node, changes.fraction_sd[inner] ** 2),
            new_value=at_nodes(change_node, changes.new_value[inner]),
            new_variance=at_nodes(change_node, changes.new_value_sd[inner] ** 2),
            wander_keep=keep,
            wander_noise=noise,
            wander_start=float(wander.variance[0]),
            mean_supply=float((supply * dt).sum() / max(dt.sum(), 1e-9)),
            node=np.searchsorted(grid, edges[1:]),
            dt=dt,
            exchange=exchange,
            supply_rate=brought,
            lasting_rate=lasting,
        )


def average_replicates(history: SystemHistory) -> tuple[Values, Values, Values, Whole, Whole]:
    """Tests in order of time, replicates averaged: days, value, variance, lot, and the index of the first replicate."""
    readings = history.readings
    count = len(readings.at_days)
    lot = readings.lot if readings.lot is not None else np.zeros(count, dtype=np.int64)
    order = np.argsort(readings.at_days, kind="stable")
    group = readings.replicate_group
    if group is None or not np.any(group >= 0):
        return readings.at_days[order], readings.value[order], readings.sd[order] ** 2, lot[order], order
    key = np.where(group >= 0, group, group.max(initial=0) + 1 + np.arange(count))
    _, first, inverse, times = np.unique(key[order], return_index=True, return_inverse=True, return_counts=True)
    mean, variance = (np.bincount(inverse, weights=v[order]) for v in (readings.value, readings.sd**2))
    sequence = np.argsort(first)
    first, times = first[sequence], times[sequence]
    origin = order[first]
    return readings.at_days[origin], mean[sequence] / times, variance[sequence] / times**2, lot[origin], origin


def node_days(history: SystemHistory, at_day: float) -> Values:
    """Instants of the nodes of one system: readings, water changes after the first of them, the instant asked for.

    Between the nodes of a system with feeds more are put in so that no step is longer than three days.
    """
    days = average_replicates(history)[0]
    changes = history.water_changes.at_days
    last = max(days[-1], at_day)
    grid = np.sort(np.concatenate([days, changes[(changes > days[0]) & (changes <= last)]]))
    if last > grid[-1]:
        grid = np.append(grid, last)
    if history.feeds and len(grid) > 1:
        parts = np.maximum(np.ceil(np.diff(grid) / LONGEST_STEP_DAYS), 1.0).astype(np.int64)
        steps = zip(grid[:-1], grid[1:], parts, strict=True)
        between = [np.linspace(a, b, n, endpoint=False)[1:] for a, b, n in steps if n > 1]
        grid = np.sort(np.concatenate([grid, *between]))
    return grid


def _positions(grid: Values, days: Values, *, after: bool) -> Whole:
    """The node of each reading or water change; of nodes at one instant the readings come first."""
    days = np.sort(days)
    left = np.searchsorted(grid, days)
    rank = np.arange(len(days)) - np.searchsorted(days, days)
    if not after:
        return np.asarray(left + rank)
    last = np.searchsorted(grid, days, side="right") - 1
    from_end = np.searchsorted(days, days, side="right") - 1 - np.arange(len(days))
    return np.asarray(last - from_end)


def _courses(histories: Sequence[SystemHistory], at_days: Values) -> list[list[tuple[InputCourse, InputCourse]]]:
    """Flow and inflow of every feed of every system on the nodes of its system."""
    checks, grids = [], []
    for history, at_day in zip(histories, at_days, strict=True):
        grid = np.unique(node_days(history, at_day)) if history.feeds else np.empty(0)
        for feed in history.feeds:
            checks += [feed.flow, feed.inflow]
            grids += [grid, grid]
    courses = iter(input_courses(checks=checks, grid_days=grids))
    return [[(next(courses), next(courses)) for _ in history.feeds] for history in histories]


def _edges(history: SystemHistory, courses: list[tuple[InputCourse, InputCourse]], grid: Values) -> Values:
    """Where anything changes between the first node and the last."""
    doses = history.doses
    ends = np.maximum(doses.end_days, doses.start_days + SHORTEST_DOSE_DAYS)
    edges = [grid, doses.start_days, ends]
    for feed, (flow, inflow) in zip(history.feeds, courses, strict=True):
        edges += [flow.at_days, inflow.at_days, flow.set_at_days, inflow.set_at_days]
        edges += [np.array([day for day in (feed.from_days, feed.to_days) if day is not None])]
    every: Values = np.unique(np.concatenate(edges))
    within: Values = every[(every >= grid[0]) & (every <= grid[-1])]
    return within


def _dose_rates(doses: Doses, edges: Values) -> tuple[Values, Values]:
    """Rate of all doses in each piece, and the sum of the squares of (rate x relative sd)."""
    start, count = doses.start_days, len(edges) - 1
    end = np.maximum(doses.end_days, start + SHORTEST_DOSE_DAYS)
    rate = doses.amount / (end - start)
    first, last = (np.clip(np.searchsorted(edges, days), 0, count) for days in (start, end))
    rates, squares = np.zeros(count + 1), np.zeros(count + 1)
    for sums, values in ((rates, rate), (squares, (rate * doses.relative_sd) ** 2)):
        np.add.at(sums, first, values)
        np.add.at(sums, last, -values)
    return np.cumsum(rates)[:-1], np.maximum(np.cumsum(squares)[:-1], 0.0)


def _active(feed: Feed, days: Values) -> Values:
    active = np.ones(len(days))
    if feed.from_days is not None:
        active[days < feed.from_days] = 0.0
    if feed.to_days is not None:
        active[days >= feed.to_days] = 0.0
    return active


@dataclass(slots=True)
class _Wander:
    """Variance of the summed wandering errors at the nodes, and their covariance with the next node's."""

    variance: Values
    covariance: Values

    @classmethod
    def none(cls, nodes: int) -> "_Wander":
        return cls(np.zeros(nodes), np.zeros(nodes))

    def add(self, weight: Values, course: InputCourse, grid: Values) -> None:
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


def _compose(records: list[_Record], nodes: int) -> dict[str, Values]:
    """Every step from its pieces, all systems at once; the first node of each is reached by a step of no length."""
    systems = len(records)
    slot = np.concatenate([record.node + nodes * lane for lane, record in enumerate(records)])
    dt, exchange, supply, lasting = (
        np.concatenate([getattr(record, name) for record in records])
        for name in ("dt", "exchange", "supply_rate", "lasting_rate")
    )
    piece = transition(exchange_per_day=exchange, dt_days=dt)
    size = nodes * systems

    def total(values: Values) -> Values:
        return np.asarray(np.bincount(slot, weights=values, minlength=size), dtype=np.float64)

    def after(values: Values) -> Values:
        """Sum over the later pieces of the same step."""
        running = np.cumsum(values)
        starts = np.searchsorted(slot, np.arange(size), side="right") - 1
        return np.asarray(running[starts[slot]] - running)

    log_decay = exchange * dt
    e = np.exp(-after(log_decay))
    g_piece = piece.response_days * e
    g = after(g_piece)
    q12 = piece.demand_12_days2
    steps = {
        "decay": np.exp(-total(log_decay)),
        "response": total(g_piece),
        "push": total(supply * g_piece),
        "lasting_push": total(lasting * g_piece),
        "demand_11": total(e**2 * piece.demand_11_days3 - 2.0 * e * g * q12 + g**2 * dt),
        "demand_12": total(e * q12 - g * dt),
        "demand_22": total(dt),
        "level_11": total(e**2 * piece.level_11_days),
    }
    return {name: values.reshape(systems, nodes).T.copy() for name, values in steps.items()}
