"""Systems laid out, looked at and averaged together get the answer that each gets in a call of its own."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import pytest

from service.science import consumption
from service.science.consumption import estimate_consumption
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory

SYSTEMS = 24


def history(number: int) -> SystemHistory:
    """Of every length; with a gross mistake, a jump within the record or just before its end, a drip; or nothing."""
    random = np.random.default_rng(70_000 + number)
    days = np.arange(0.4, 20.0 + 4.0 * number, 2.0)
    value = 3.0 - 0.01 * days + 0.05 * random.standard_normal(len(days))
    middle = len(days) // 2
    value[middle : middle + 1] += 0.8 * (number % 4 == 1)
    value[middle:] += 0.6 * (number % 4 == 2)
    value[-2:] += 0.45 * (number % 4 == 3)
    flow = Checks(at_days=days[::5], value=np.full(len(days[::5]), 0.05), relative_sd=np.full(len(days[::5]), 0.03))
    inflow = Checks(at_days=days[:1], value=np.array([9.0]), relative_sd=np.array([0.03]))
    return SystemHistory(
        readings=Readings(at_days=days, value=value, sd=np.full(len(days), 0.05)),
        doses=Doses(
            start_days=days[:1], end_days=days[-1:], amount=np.array([0.3 * days[-1]]), relative_sd=np.array([0.05])
        ),
        feeds=(Feed(name="drip", flow=flow, inflow=inflow),) if number % 3 == 0 else (),
    )


def alike(one: Any, other: Any, where: str = "answer") -> None:
    """Every number within the rounding of sums, everything else the same."""
    if is_dataclass(one):
        for field in fields(one):
            alike(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    elif isinstance(one, tuple) and one and is_dataclass(one[0]):
        assert len(one) == len(other), where
        for number, pair in enumerate(zip(one, other, strict=True)):
            alike(*pair, f"{where}[{number}]")
    elif isinstance(one, float | np.ndarray):
        np.testing.assert_allclose(other, one, rtol=1e-9, atol=1e-9, err_msg=where)
    else:
        assert one == other, where


@pytest.mark.parametrize("lanes", [1, 200, consumption.LANES_AT_ONCE])
@pytest.mark.parametrize("with_courses", [False, True])
def test_the_answer_of_a_system_does_not_depend_on_its_company(
    lanes: int, with_courses: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    histories = [history(number) for number in range(SYSTEMS)]
    ends = [float(each.readings.at_days[-1]) - 9.0 * (number % 5 == 4) for number, each in enumerate(histories)]
    courses = [np.arange(3.0, end, 2.5) if with_courses and number % 2 else None for number, end in enumerate(ends)]
    monkeypatch.setattr(consumption, "LANES_AT_ONCE", lanes)
    monkeypatch.setattr(consumption, "SYSTEMS_AT_ONCE", 10)
    together = estimate_consumption(histories=histories, at_days=ends, course_at_days=courses)
    doubted = 0
    for each, end, course, found in zip(histories, ends, courses, together, strict=True):
        (alone,) = estimate_consumption(histories=[each], at_days=[end], course_at_days=[course])
        alike(alone, found)
        doubted += bool(alone.set_aside) + bool(alone.level_shifts)
    assert doubted >= SYSTEMS / 3  # the scenario holds what it says
