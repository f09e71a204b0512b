"""How far demand answers to the level: against a world that is stepped by the hour, and records that cannot tell."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from service.science import input_checks
from service.science.answering import TRIED, Answer, fit_answers
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory
from service.science.timeline import lay_out, lay_out_pieces

DEMAND, MIDDLE = 0.35, 2.9


def a_record(answer: float, *, moved: float, seed: int) -> SystemHistory:
    """Half a year of a system under a pump that is set high and low in turn every fortnight, read daily.

    The level follows dA/dt = u - U0 (1 + a (A - A_m)), stepped by the hour; U0 wanders by 1.5 % a square root of a day,
    the titration scatters by 0.03 meq/L.
    """
    rng = np.random.default_rng(seed)
    starts = np.arange(0.0, 180.0, 14.0)
    ends = np.minimum(starts + 14.0, 180.0)
    rates = DEMAND + moved * np.where(np.arange(len(starts)) % 2 == 0, 1.0, -1.0)
    demand = DEMAND * np.exp(np.cumsum(0.015 / np.sqrt(24.0) * rng.standard_normal(180 * 24)))
    level = [MIDDLE]
    for hour in range(180 * 24 - 1):
        taken = demand[hour] * (1.0 + answer * (level[-1] - MIDDLE))
        level.append(level[-1] + (rates[hour // (14 * 24)] - taken) / 24.0)
    read = np.arange(12, 180 * 24, 24)
    return SystemHistory(
        readings=Readings(
            at_days=read / 24.0,
            value=np.array(level)[read] + 0.03 * rng.standard_normal(len(read)),
            sd=np.full(len(read), 0.03),
        ),
        doses=Doses(
            start_days=starts,
            end_days=ends,
            amount=rates * (ends - starts),
            relative_sd=np.full(len(starts), 0.02),
        ),
    )


def fitted(records: list[SystemHistory]) -> list[Answer | None]:
    return fit_answers(histories=records, at_days=np.full(len(records), 179.9))


@pytest.mark.parametrize("answer", [0.3, 0.7])
def test_an_answer_is_found_where_the_level_moved(answer: float) -> None:
    """Ten records each whose level goes up and down: at 95 % each, fewer than eight held come once in ninety."""
    found = [each for each in fitted([a_record(answer, moved=0.06, seed=30_000 + n) for n in range(10)]) if each]
    assert len(found) == 10
    assert sum(each.low <= answer <= each.high for each in found) >= 8
    assert np.mean([each.value for each in found]) == pytest.approx(answer, abs=0.12)


def test_a_demand_that_does_not_answer_gives_an_interval_that_begins_at_nothing() -> None:
    told = [each for each in fitted([a_record(0.0, moved=0.04, seed=31_000 + n) for n in range(6)]) if each]
    assert len(told) >= 5
    assert sum(each.low == 0.0 for each in told) >= len(told) - 1
    assert all(each.high < 0.6 for each in told)
    assert all(each.weight.sum() == pytest.approx(1.0) and set(each.tried) <= set(TRIED) for each in told)


def test_a_test_a_month_tells_nothing() -> None:
    record = a_record(0.3, moved=0.06, seed=32_000)
    monthly = Readings(**{name: getattr(record.readings, name)[::30] for name in ("at_days", "value", "sd")})
    assert fitted([replace(record, readings=monthly)]) == [None]


def test_one_reading_tells_nothing() -> None:
    one = SystemHistory(readings=Readings(at_days=np.array([1.0]), value=np.array([2.9]), sd=np.array([0.05])))
    assert fit_answers(histories=[one], at_days=np.full(1, 179.0)) == [None]


def with_stream(record: SystemHistory, rate: float) -> SystemHistory:
    """The plain form: the stream as a feed of water of the record's middle level, known exactly."""
    first, middle = np.array([float(record.readings.at_days.min())]), float(np.median(record.readings.value))
    flow = Checks(at_days=first, value=np.array([rate]), relative_sd=np.zeros(1))
    inflow = Checks(at_days=first, value=np.array([middle]), relative_sd=np.zeros(1))
    return replace(record, feeds=(*record.feeds, Feed(name="answer", flow=flow, inflow=inflow)))


def test_a_stream_laid_on_is_a_feed_known_exactly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every step of records that have a drip of their own, and so the same nodes, under three streams."""
    monkeypatch.setattr(input_checks, "SHARPEST_CHECK", 1e-12)
    days = np.arange(0.0, 180.0, 20.0)
    drip = Feed(
        name="drip",
        flow=Checks(at_days=days, value=np.full(9, 0.04), relative_sd=np.full(9, 0.03), systematic_sd=0.1, drift=0.01),
        inflow=Checks(at_days=days, value=np.full(9, 9.0), relative_sd=np.full(9, 0.02)),
    )
    records = [replace(a_record(0.3, moved=0.06, seed=30_000 + n), feeds=(drip,)) for n in range(3)]
    ends, rate = np.full(3, 179.9), np.array([[0.01, 0.05, 0.4]] * 3) * np.array([[1.0], [2.0], [0.5]])
    middle = np.array([np.median(each.readings.value) for each in records])
    found = lay_out_pieces(histories=records, at_days=ends).with_streams(rate=rate, level=middle)
    feeds = [with_stream(each, one) for each, row in zip(records, rate.tolist(), strict=True) for one in row]
    plain = lay_out(histories=feeds, at_days=np.repeat(ends, 3))
    for name in ("at_days", "decay", "response", "push", "demand_11", "demand_12", "demand_22", "level_11", "fraction"):
        np.testing.assert_allclose(getattr(found, name), getattr(plain, name), rtol=1e-9, atol=1e-12, err_msg=name)
    for name in ("wander_noise", "wander_start", "wander_keep", "reading", "variance", "has_reading", "source"):
        np.testing.assert_allclose(getattr(found, name), getattr(plain, name), rtol=1e-6, atol=1e-9, err_msg=name)


def test_no_stream_changes_nothing() -> None:
    laid_out = lay_out_pieces(histories=[a_record(0.3, moved=0.06, seed=30_000)], at_days=np.array([179.9]))
    found = laid_out.with_streams(rate=np.zeros((1, 1)), level=np.array([MIDDLE]))
    for name in found.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(found, name), getattr(laid_out.timeline, name), err_msg=name)
