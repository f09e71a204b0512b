"""Probe series in the computations: a day's mean is one reading, however many values the probe sent."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any
from uuid import UUID

import numpy as np
import pytest
from sqlalchemy import event
from support.house import House
from support.probes import batch, send

from service.computations.consumption.gather import gather
from service.resources.places.systems.models import System
from service.resources.records.queries import courses, system_courses

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
DAYS = 60


def titrator(house: House, subject_id: str, values: np.ndarray, every: timedelta = HOUR, **fields: Any) -> None:
    """A series of alkalinity in meq/L that ends now."""
    named = {"quantity": "alkalinity", "unit": "meq/L", "method": "titrator", **fields}
    send(house, batch(subject_id, values.tolist(), end=house.now, every=every, **named))


def falling(rate: float, *, every: timedelta = HOUR, start: float = 4.0, swing: float = 0.0) -> np.ndarray:
    """A level that falls by `rate` a day for DAYS days, with a day and a night."""
    days = np.arange(0, DAYS, every / DAY)
    return start - rate * days + swing * np.sin(2 * np.pi * days)


def consumption(house: House, system: dict[str, Any]) -> Any:
    """The answer for alkalinity."""
    return house.call("GET", f"/v1/systems/{system['id']}/consumption")


def half(answer: dict[str, Any]) -> float:
    """Half the width of the interval."""
    return (answer["estimate"]["high"] - answer["estimate"]["low"]) / 2


def test_a_titrators_series_alone_answers(house: House) -> None:
    system = house.a_system()
    titrator(house, system["id"], falling(0.02, swing=0.05))
    answer = consumption(house, system)
    assert answer["estimate"]["low"] < 0.02 < answer["estimate"]["high"]
    assert answer["estimate"]["value"] == pytest.approx(0.02, abs=0.006)
    assert answer["used"]["readings"] == DAYS
    assert any("mean of 24 hours" in sentence for sentence in answer["assumptions"])


@pytest.mark.parametrize("every", [timedelta(minutes=30), HOUR, 3 * HOUR])
def test_many_values_a_day_know_no_more_than_one(house: House, every: timedelta) -> None:
    """Its error is common to all of a day: with a poor method 48 values would make the interval a quarter narrower."""
    by_probe, by_hand = house.a_system(), house.a_system()
    titrator(house, by_probe["id"], falling(0.02, every=every), every, method="photometer")
    for day, value in enumerate(falling(0.02, every=DAY)):
        at = (house.now - (DAYS - 0.5 - day) * DAY).isoformat()
        house.a_reading(by_hand["id"], float(value), unit="meq/L", method="photometer", taken_at=at)
    one, other = consumption(house, by_probe), consumption(house, by_hand)
    assert half(one) == pytest.approx(half(other), rel=0.1)


def test_a_probe_that_drifts_still_leaves_the_truth_inside(house: House) -> None:
    """24 titrators, each with its own bias of 0.1, a drift of 0.015 a square root of a day, noise of 0.02 meq/L and the
    water's day and night: intervals of 95 in 100 must hold the demand, and must not be so wide that they always would.
    """
    site, chance = house.a_site(), np.random.default_rng(11)
    step, inside, errors, halves = 1 / np.sqrt(24), 0, [], []
    for _ in range(24):
        demand = 0.02 + chance.normal(0, 0.0006 * step, 24 * DAYS).cumsum()
        level = 4.0 - demand.cumsum() / 24 + 0.05 * np.sin(2 * np.pi * np.arange(24 * DAYS) / 24 + chance.uniform(0, 6))
        wrong = chance.normal(0, 0.1) + chance.normal(0, 0.015 * step, 24 * DAYS).cumsum()
        system = house.a_system(site)
        titrator(house, system["id"], level + wrong + chance.normal(0, 0.02, 24 * DAYS))
        answer = consumption(house, system)
        inside += answer["estimate"]["low"] <= demand[-1] <= answer["estimate"]["high"]
        errors.append(answer["estimate"]["value"] - demand[-1])
        halves.append(half(answer))
    assert inside >= 21  # of 24 at 95 in 100 fewer come once in a hundred such tests
    assert np.mean(halves) < 4 * np.sqrt(np.mean(np.square(errors)))


def test_a_days_mean_is_the_level_and_one_hour_is_not(house: House) -> None:
    """A swing of 0.3 meq/L by day: any one hour is off by up to that, the mean of 24 hours is not."""
    system = house.a_system()
    titrator(house, system["id"], falling(0.0, start=3.0, swing=0.3))
    with house.database.read() as session:
        found = system_courses(
            session, [UUID(system["id"])], "alkalinity", start=house.now - 90 * DAY, end=house.now + HOUR
        )
        hourly = system_courses(
            session,
            [UUID(system["id"])],
            "alkalinity",
            start=house.now - 90 * DAY,
            end=house.now + HOUR,
            probes_every=HOUR,
        )
    course, hours = found[UUID(system["id"])], hourly[UUID(system["id"])]
    assert np.abs(course.value - 3.0).max() < 1e-9
    assert np.abs(hours.value - 3.0).max() > 0.29
    assert (len(course), len(hours)) == (DAYS, 24 * DAYS)
    assert set(np.diff(course.at_us)) == {86_400_000_000}
    assert course.sd == pytest.approx(0.02)  # one reading of the method
    assert course.is_mean.all()


def test_a_probe_that_reads_high_throughout_is_no_finding(house: House) -> None:
    system = house.a_system()
    titrator(house, system["id"], falling(0.02) + 0.15)
    for day, value in enumerate(falling(0.02, every=5 * DAY)):
        at = (house.now - (DAYS - 5 * day) * DAY + 7 * HOUR).isoformat()
        house.a_reading(system["id"], float(value), unit="meq/L", method="syringe_titration", taken_at=at)
    answer = consumption(house, system)
    assert answer["findings"] == []
    assert answer["set_aside"] == []
    assert answer["estimate"]["low"] < 0.02 < answer["estimate"]["high"]


def test_a_probe_in_a_tank_goes_with_it(house: House) -> None:
    site = house.a_site()
    first, second = house.a_system(site), house.a_system(site)
    tank = house.call("POST", "/v1/tanks", {"system_id": first["id"], "tag": "t-1", "name": "A tank"})
    moved = (house.now - 20 * DAY).isoformat()
    house.call(
        "PATCH", f"/v1/tanks/{tank['id']}", {"system_id": second["id"], "from": moved}, headers={"If-Match": '"1"'}
    )
    titrator(house, tank["id"], falling(0.02))
    assert [consumption(house, system)["used"]["readings"] for system in (first, second)] == [40, 20]


def test_hand_readings_and_a_probe_are_one_course_in_time(house: House) -> None:
    system = house.a_system()["id"]
    titrator(house, system, np.array([3.0, 3.1]), every=2 * DAY)
    for hours, purpose in ((30, "sample"), (29, "replicate"), (60, "sample"), (59, "replicate")):
        at = (house.now - hours * HOUR).isoformat()
        house.a_reading(system, 3.05, unit="meq/L", taken_at=at, purpose=purpose)
    with house.database.read() as session:
        course = courses(session, [UUID(system)], "alkalinity", start=house.now - 9 * DAY, end=house.now + HOUR)[
            UUID(system)
        ]
    assert (np.diff(course.at_us) > 0).all()
    assert course.is_mean.tolist() == [False, False, True, False, False, True]
    for group in set(course.replicate_group.tolist()) - {-1}:
        members = np.flatnonzero(course.replicate_group == group)
        assert (members[0], len(members)) == (group, 2)
        assert not course.is_mean[members].any()
    assert len(set(course.lot[course.is_mean])) == 1
    assert set(course.lot[course.is_mean]).isdisjoint(course.lot[~course.is_mean])


def test_what_comes_after_the_instant_asked_for_is_not_seen(house: House) -> None:
    system = house.a_system()
    titrator(house, system["id"], falling(0.02))
    at = (house.now - 30 * DAY).strftime("%Y-%m-%dT%H:%M:%SZ")
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption?at={at}")
    assert answer["used"]["readings"] == 30
    assert answer["used"]["to"] <= at


@contextmanager
def counted(house: House) -> Iterator[list[str]]:
    """Every statement sent meanwhile."""
    statements: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_others: Any) -> None:
        statements.append(statement)

    event.listen(house.database.engine, "before_cursor_execute", note)
    try:
        yield statements
    finally:
        event.remove(house.database.engine, "before_cursor_execute", note)


def test_the_number_of_queries_does_not_grow_with_the_systems(house: House) -> None:
    site = house.a_site()
    ids = [house.a_system(site)["id"] for _ in range(6)]
    for system_id in ids:
        titrator(house, system_id, falling(0.02, every=6 * HOUR), 6 * HOUR)
    numbers = []
    for count in (1, 6):
        with house.database.read() as session:
            systems = [session.get_one(System, UUID(system_id)) for system_id in ids[:count]]
            with counted(house) as statements:
                found = gather(session, systems, "alkalinity", start=house.now - 90 * DAY, end=house.now)
            assert all(each is not None and len(each.course) >= DAYS - 1 for each in found.values())
            numbers.append(len(statements))
    assert numbers[0] == numbers[1], numbers
