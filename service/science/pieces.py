"""What runs between the nodes: rates that are constant over pieces, and steps put together from the pieces exactly.

With E and G the decay and response from the end of a piece to the end of its step, a piece with decay e, response g and
covariance q adds g E to the response and E^2 q11 - 2 E G q12 + G^2 q22, E q12 - G q22, q22 to the covariance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.science.history import Doses, SystemHistory
from service.science.input_checks import InputCourses
from service.science.nodes import Nodes
from service.science.ragged import Places, distinct, end_to_end, first_entries, places, records, stretches
from service.science.transition import transition

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

SHORTEST_DOSE_DAYS = 1.0 / 1440.0


@dataclass(frozen=True, slots=True)
class Feeds:
    """The feeds of many records, each array (feeds): the record, from when to when it runs, errors that last.

    Input 2 n of the courses is the flow of feed n, input 2 n + 1 its inflow.
    """

    record: Whole
    from_days: Values
    to_days: Values
    flow_systematic_sd: Values
    inflow_systematic_sd: Values

    @classmethod
    def of(cls, histories: Sequence[SystemHistory]) -> "Feeds":
        """All feeds of all records, in order."""
        every = [(number, feed) for number, history in enumerate(histories) for feed in history.feeds]
        return cls(
            np.array([number for number, _ in every], dtype=np.int64),
            np.array([-np.inf if feed.from_days is None else feed.from_days for _, feed in every]),
            np.array([np.inf if feed.to_days is None else feed.to_days for _, feed in every]),
            np.array([feed.flow.systematic_sd for _, feed in every]),
            np.array([feed.inflow.systematic_sd for _, feed in every]),
        )

    def running(self, feed: Whole, days: Values, courses: InputCourses) -> tuple[Values, Values]:
        """Flow and inflow of some feeds, an instant each: volumes a day, 0 while a feed does not run; concentration."""
        runs = (days >= self.from_days[feed]) & (days < self.to_days[feed])
        flow, inflow = courses.value_at(places(2 * feed, days)), courses.value_at(places(2 * feed + 1, days))
        return np.where(runs, flow, 0.0), inflow


@dataclass(frozen=True, slots=True)
class Pieces:
    """Pieces of all records in order, each array (pieces): record, node each leads to, length, exchange and rates.

    node: among those of its record. supply_rate: what known inputs bring, concentration a day; lasting_rate: sd of what
    they may bring too little or too much for good; net_rate: supply less what the exchange carries off at the usual
    concentration.
    """

    record: Whole
    node: Whole
    dt: Values
    exchange: Values
    supply_rate: Values
    lasting_rate: Values
    net_rate: Values

    @classmethod
    def of(
        cls, histories: Sequence[SystemHistory], feeds: Feeds, courses: InputCourses, nodes: Nodes, level: Values
    ) -> "Pieces":
        """Cut at every node and wherever an input changes; level: the usual concentration of each record."""
        dosed, of = _doses(histories)
        edges = _edges(dosed, of, feeds, courses, nodes)
        within = np.flatnonzero(edges.real[1:] == edges.real[:-1]) + 1
        record, days = records(edges)[within], edges.imag
        dt, middle = days[within] - days[within - 1], 0.5 * (days[within] + days[within - 1])
        supply, square = (each[within - 1] for each in _dose_rates(dosed, of, edges, len(histories)))
        exchange: Values = np.zeros(len(within))
        if len(feeds.record):
            begins = first_entries(record, len(histories))
            piece, feed = stretches(begins[feeds.record], np.diff(begins)[feeds.record])
            rate, value = feeds.running(feed, middle[piece], courses)
            of_flow = (rate * (value - level[record[piece]]) * feeds.flow_systematic_sd[feed]) ** 2
            of_inflow = (rate * value * feeds.inflow_systematic_sd[feed]) ** 2
            exchange, brought, spread = (
                np.asarray(np.bincount(piece, weights=each, minlength=len(within)), dtype=np.float64)
                for each in (rate, rate * value, of_flow + of_inflow)
            )
            supply, square = supply + brought, square + spread
        net = supply - exchange * level[record]
        volume_sd = np.array([history.volume_relative_sd for history in histories])
        lasting = np.sqrt(square + (volume_sd[record] * net) ** 2)
        node = np.searchsorted(nodes.places, edges[within]) - nodes.first[record]
        return cls(record, node, dt, exchange, supply, lasting, net)

    def with_streams(self, rate: Values, level: Values) -> "Pieces":
        """The same while a stream runs through each record: so many volumes a day of water of a level, (records).

        The level is about the usual one, so that the stream brings nothing net, and both are known exactly.
        """
        exchange, brought = rate[self.record], (rate * level)[self.record]
        return replace(self, exchange=self.exchange + exchange, supply_rate=self.supply_rate + brought)

    def mean_supply(self, count: int) -> Values:
        """Mean net rate of each of `count` records, concentration a day."""
        brought, lasted = (np.bincount(self.record, each, count) for each in (self.net_rate * self.dt, self.dt))
        return np.asarray(brought / np.maximum(lasted, 1e-9))


def compose(*, pieces: Pieces, nodes: int, records: int) -> dict[str, Values]:
    """Every step of every record from its pieces, each entry (nodes, records); the first node is reached in no time.

    Source: DERIVED, VANLOAN78. Check value: none, tested by test_pieces_of_a_step_compose_exactly.
    """
    slot = pieces.node + nodes * pieces.record
    dt, exchange, supply, lasting = pieces.dt, pieces.exchange, pieces.supply_rate, pieces.lasting_rate
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


def _doses(histories: Sequence[SystemHistory]) -> tuple[Doses, Whole]:
    """The doses of all records in one table, and the record of each."""
    start, of = end_to_end(history.doses.start_days for history in histories)
    end, amount, sd = (
        np.concatenate([getattr(history.doses, name) for history in histories])
        for name in ("end_days", "amount", "relative_sd")
    )
    lasting = np.maximum(end, start + SHORTEST_DOSE_DAYS)
    return Doses(start_days=start, end_days=lasting, amount=amount, relative_sd=sd), of


def _edges(doses: Doses, of: Whole, feeds: Feeds, courses: InputCourses, nodes: Nodes) -> Places:
    """Where anything changes between the first node and the last of a record."""
    every = [nodes.places, places(of, doses.start_days), places(of, doses.end_days)]
    if len(feeds.record):
        for each in (courses.places, courses.set_places):
            every.append(places(feeds.record[records(each) // 2], each.imag))
        for days in (feeds.from_days, feeds.to_days):
            stated = np.isfinite(days)
            every.append(places(feeds.record[stated], days[stated]))
    edges = distinct(np.concatenate(every))
    record = records(edges)
    return edges[(edges.imag >= nodes.start_days[record]) & (edges.imag <= nodes.end_days[record])]


def _dose_rates(doses: Doses, of: Whole, edges: Places, count: int) -> tuple[Values, Values]:
    """Rate of all doses after each edge, and the sum of the squares of (rate x relative sd); what runs on stops there.

    Summed up record by record, in a table, so that nothing is carried from one to the next.
    """
    rate = doses.amount / (doses.end_days - doses.start_days)
    record = records(edges)
    first = first_entries(record, count)
    # A dose that goes on beyond the last edge ends there; one before the first begins and ends at it: no piece.
    turn = np.concatenate([np.searchsorted(edges, places(of, days)) for days in (doses.start_days, doses.end_days)])
    whose, width = np.tile(of, 2), int(np.diff(first).max(initial=1))
    slot = np.clip(turn, first[whose], first[whose + 1] - 1) - first[whose] + width * whose
    sign = np.repeat([1.0, -1.0], len(of))
    own = np.arange(len(edges)) - first[record] + width * record
    rates, squares = (
        np.bincount(slot, sign * np.tile(values, 2), width * count).reshape(count, width).cumsum(axis=1).ravel()[own]
        for values in (rate, (rate * doses.relative_sd) ** 2)
    )
    return np.asarray(rates, dtype=np.float64), np.maximum(squares, 0.0, dtype=np.float64)
