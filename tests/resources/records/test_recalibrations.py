"""Recalibrations: a span of a series shown as it should have read; what was recorded stays, and can be asked for."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

import numpy as np
import pytest
from support.house import House
from support.probes import batch, read, send

from service.resources.records.checking import faults
from service.resources.records.queries import courses

HOUR = timedelta(hours=1)


def recalibrate(
    house: House, subject_id: str, *, hours_ago: tuple[float, float], status: int = 201, **fields: Any
) -> Any:
    """A recalibration of pH from so many hours ago to so many."""
    start, end = (house.now - ago * HOUR for ago in hours_ago)
    content = {
        "subject_id": subject_id,
        "quantity": "ph",
        "from": start.isoformat(),
        "to": end.isoformat(),
        "reason": "calibrated",
        **fields,
    }
    return house.call("PUT", f"/v1/recalibrations/{uuid4()}", content, status=status)


def by_hand(house: House, columns: dict[str, Any], *lines: tuple[float, float, float, float]) -> list[float]:
    """The recorded values made right in a loop; each line: hours ago from, to, slope, offset; the last one counts."""
    right = []
    for text, value in zip(columns["taken_at"], columns["value"], strict=True):
        ago = (house.now - datetime.fromisoformat(text)) / HOUR
        slope, offset = 1.0, 0.0
        for start, end, *line in lines:
            if end < ago <= start:
                slope, offset = line
        right.append(slope * value + offset)
    return right


def test_a_span_is_made_right_and_what_was_recorded_stays(house: House) -> None:
    system = house.a_system()["id"]
    body = batch(system, np.linspace(8.0, 8.4, 601).tolist(), end=house.now)
    send(house, body)
    recalibrate(house, system, hours_ago=(8, 3.5), slope=1.05, offset=-0.3)
    recorded = read(house, system, "&as=recorded")
    assert recorded["value"] == body["value"]
    assert read(house, system)["value"] == pytest.approx(by_hand(house, recorded, (8, 3.5, 1.05, -0.3)))
    again = send(house, body, status=200)
    assert (again["held_already"], again["conflicts"]) == (601, [])  # what is held is what was sent


@pytest.mark.parametrize("resolution", ["hour", "PT10M", "PT4H", "day"])
def test_means_are_those_of_the_right_values(house: House, resolution: str) -> None:
    """Edges within an hour and on one, two lines that overlap, two batches that meet: against a loop."""
    system = house.a_system(house.a_site(time_zone="UTC"))["id"]
    values = np.round(8.2 + np.random.default_rng(3).normal(0, 0.1, 3001), 3).tolist()
    body = batch(system, values, end=house.now)
    for part in (slice(0, 1333), slice(1333, None)):
        send(house, {**body, "taken_at": body["taken_at"][part], "value": body["value"][part]})
    lines = ((40, 20.25, 1.1, -0.7), (30, 10, 0.9, 0.9), (5.5, 5.4, 1.0, 0.3))
    end = house.now
    for start, stop, slope, offset in lines:
        house.pass_time(hours=1)  # of two that overlap the one recorded later counts
        span = {"from": (end - start * HOUR).isoformat(), "to": (end - stop * HOUR).isoformat()}
        recalibrate(house, system, hours_ago=(start, stop), slope=slope, offset=offset, **span)
    house.now = end
    right = by_hand(house, read(house, system, "&as=recorded"), *lines)
    means = read(house, system, f"&resolution={resolution}")
    starts = [datetime.fromisoformat(text) for text in means["taken_at"]]
    times = [datetime.fromisoformat(text) for text in body["taken_at"]]
    place = np.searchsorted(np.array([at.timestamp() for at in starts]), [at.timestamp() for at in times], "right") - 1
    for number in range(len(starts)):
        inside = [value for value, span in zip(right, place, strict=True) if span == number]
        found = (means["value"][number], means["low"][number], means["high"][number], means["count"][number])
        assert found == pytest.approx((np.mean(inside), min(inside), max(inside), len(inside)))


def test_a_withdrawn_recalibration_no_longer_counts(house: House) -> None:
    system = house.a_system()["id"]
    send(house, batch(system, [8.0, 8.1], end=house.now))
    made = recalibrate(house, system, hours_ago=(1, -0.01), offset=0.2)
    assert read(house, system)["value"] == pytest.approx([8.2, 8.3])
    path = f"/v1/recalibrations/{made['id']}"
    house.call("POST", f"{path}/corrections", {"offset": 0.1, "reason": "typo"}, headers={"If-Match": '"1"'})
    assert read(house, system)["value"] == pytest.approx([8.1, 8.2])
    house.call("POST", f"{path}/withdrawal", {"reason": "another probe"}, headers={"If-Match": '"2"'})
    assert read(house, system)["value"] == [8.0, 8.1]
    with house.database.read() as session:
        assert [fault for fault in faults(session) if not fault.startswith("token")] == []


def test_a_unit_with_another_zero(house: House) -> None:
    """A thermometer in degF that reads 2 degF high and 1 % long: 78.78 recorded was 76.0."""
    system = house.a_system()["id"]
    send(house, batch(system, [78.78], end=house.now, quantity="temperature", unit="degF"))
    line = {"slope": 1 / 1.01, "offset": -2.0, "unit": "degF", "quantity": "temperature"}
    recalibrate(house, system, hours_ago=(1, -0.01), **line)
    assert read(house, system, "&unit=degF", quantity="temperature")["value"] == pytest.approx([76.0])
    assert read(house, system, quantity="temperature")["value"] == pytest.approx([(76.0 - 32) / 1.8])


def test_computations_see_the_right_values(house: House) -> None:
    system = house.a_system()["id"]
    send(house, batch(system, [8.0] * 48, end=house.now - HOUR, every=HOUR))
    recalibrate(house, system, hours_ago=(24, 0), offset=0.2)
    with house.database.read() as session:
        course = courses(session, [UUID(system)], "ph", start=house.now - 72 * HOUR, end=house.now)[UUID(system)]
    assert course.value == pytest.approx([8.0, 8.2])


def test_bad_input_is_named(house: House) -> None:
    system = house.a_system()["id"]
    send(house, batch(system, [8.0], end=house.now))
    for fields, pointer in (
        ({"slope": 0}, "/slope"),
        ({"offset": "0.1"}, "/offset"),
        ({"unit": "kg"}, "/unit"),
        ({"quantity": "temperature"}, "/quantity"),
        ({"method": "titrator", "quantity": "alkalinity"}, "/quantity"),
        ({"to": "2026-01-01T00:00:00Z"}, "/to"),
        ({"to": "2026-03-02T13:00:00Z"}, "/to"),
    ):
        problem = recalibrate(house, system, hours_ago=(2, 1), status=422, **fields)
        assert problem["errors"][0]["pointer"] == pointer, (fields, problem)
    assert house.call("GET", "/v1/recalibrations") == []
    assert read(house, system, "&as=shown", status=422)["errors"][0]["pointer"] == "as"
