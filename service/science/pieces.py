"""What runs between the nodes: rates that are constant over pieces, and steps put together from the pieces exactly.

With E and G the decay and response from the end of a piece to the end of its step, a piece with decay e, response g and
covariance q adds g E to the response and E^2 q11 - 2 E G q12 + G^2 q22, E q12 - G q22, q22 to the covariance.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import Doses, Feed, SystemHistory
from service.science.input_checks import InputCourse
from service.science.transition import transition

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

SHORTEST_DOSE_DAYS = 1.0 / 1440.0


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of one record, each array (pieces): the node each leads to, its length, exchange and rates.

    supply_rate: what known inputs bring, concentration a day; lasting_rate: sd of what they may bring too little or too
    much for good; net_rate: supply less what the exchange carries off at the usual concentration.
    """

    node: Whole
    dt: Values
    exchange: Values
    supply_rate: Values
    lasting_rate: Values
    net_rate: Values

    @classmethod
    def of(
        cls, history: SystemHistory, courses: list[tuple[InputCourse, InputCourse]], grid: Values, level: float
    ) -> "Pieces":
        """Cut at every node and wherever an input changes."""
        edges = _edges(history, courses, grid)
        dt, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
        supply, square = _dose_rates(history.doses, edges)
        exchange = np.zeros(len(middle))
        for feed, (flow, inflow) in zip(history.feeds, courses, strict=True):
            rate, value = flow.value_at(middle) * active(feed, middle), inflow.value_at(middle)
            exchange = exchange + rate
            supply = supply + rate * value
            square = square + (rate * (value - level) * feed.flow.systematic_sd) ** 2
            square = square + (rate * value * feed.inflow.systematic_sd) ** 2
        net = supply - exchange * level
        lasting = np.sqrt(square + (history.volume_relative_sd * net) ** 2)
        return cls(np.searchsorted(grid, edges[1:]), dt, exchange, supply, lasting, net)


def active(feed: Feed, days: Values) -> Values:
    """1 where a feed runs, 0 where it does not. Check value: none, definition."""
    runs = np.ones(len(days))
    if feed.from_days is not None:
        runs[days < feed.from_days] = 0.0
    if feed.to_days is not None:
        runs[days >= feed.to_days] = 0.0
    return runs


def compose(*, pieces: list[Pieces], nodes: int) -> dict[str, Values]:
    """Every step of every record from its pieces, each entry (nodes, records); the first node is reached in no time.

    Source: VANLOAN78. Check value: none, tested by test_pieces_of_a_step_compose_exactly.
    """
    records = len(pieces)
    slot = np.concatenate([each.node + nodes * lane for lane, each in enumerate(pieces)])
    dt, exchange, supply, lasting = (
        np.concatenate([getattr(each, name) for each in pieces])
        for name in ("dt", "exchange", "supply_rate", "lasting_rate")
    )
    piece = transition(exchange_per_day=exchange, dt_days=dt)
    ends = np.searchsorted(slot, np.arange(nodes * records), side="right") - 1

    def total(values: Values) -> Values:
        return np.asarray(np.bincount(slot, weights=values, minlength=nodes * records), dtype=np.float64)

    def later(values: Values) -> Values:
        """Sum over the later pieces of the same step."""
        running = np.cumsum(values)
        return np.asarray(running[ends[slot]] - running)

    e = np.exp(-later(exchange * dt))
    response = piece.response_days * e
    g, q12 = later(response), piece.demand_12_days2
    steps = {
        "decay": np.exp(-total(exchange * dt)),
        "response": total(response),
        "push": total(supply * response),
        "lasting_push": total(lasting * response),
        "demand_11": total(e**2 * piece.demand_11_days3 - 2.0 * e * g * q12 + g**2 * dt),
        "demand_12": total(e * q12 - g * dt),
        "demand_22": total(dt),
        "level_11": total(e**2 * piece.level_11_days),
    }
    return {name: values.reshape(records, nodes).T.copy() for name, values in steps.items()}


def _edges(history: SystemHistory, courses: list[tuple[InputCourse, InputCourse]], grid: Values) -> Values:
    """Where anything changes between the first node and the last."""
    doses = history.doses
    edges = [grid, doses.start_days, np.maximum(doses.end_days, doses.start_days + SHORTEST_DOSE_DAYS)]
    for feed, (flow, inflow) in zip(history.feeds, courses, strict=True):
        edges += [flow.at_days, inflow.at_days, flow.set_at_days, inflow.set_at_days]
        edges += [np.array([day for day in (feed.from_days, feed.to_days) if day is not None])]
    every = np.sort(np.concatenate(edges))
    kept = (every >= grid[0]) & (every <= grid[-1]) & (np.diff(every, prepend=-np.inf) > 0.0)
    within: Values = every[kept]
    return within


def _dose_rates(doses: Doses, edges: Values) -> tuple[Values, Values]:
    """Rate of all doses in each piece, and the sum of the squares of (rate x relative sd)."""
    start, count = doses.start_days, len(edges)
    end = np.maximum(doses.end_days, start + SHORTEST_DOSE_DAYS)
    rate = doses.amount / (end - start)
    # A dose that goes on beyond the last edge ends there; one before the first begins and ends at it: no piece.
    turn = np.searchsorted(edges, np.concatenate([start, end])).clip(0, count - 1)
    sign = np.repeat([1.0, -1.0], len(start))
    rates, squares = (
        np.cumsum(np.bincount(turn, weights=sign * np.tile(values, 2), minlength=count))[:-1]
        for values in (rate, (rate * doses.relative_sd) ** 2)
    )
    return np.asarray(rates, dtype=np.float64), np.maximum(squares, 0.0, dtype=np.float64)
