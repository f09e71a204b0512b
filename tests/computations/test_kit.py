"""Does the kit read true? Consumption names a lot that reads wrong, by standards and by the water's own step."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any, cast
from uuid import uuid4

import numpy as np
import pytest
from support.house import House

from service.computations.consumption.kit import lot_in_use
from service.resources.records.check_standards import StandardRead
from service.science.answer import ConsumptionEstimate, LotStep

LEVEL = 2.85


def records(house: House, *, standards: tuple[float, ...], step: float) -> dict[str, Any]:
    """Titrations every second day with two lots, the second ten days ago; standards read with it (less 2.80)."""
    site = house.a_site()
    system = house.a_system(site)
    lots = [house.call("POST", "/v1/lots", {"number": f"{name}-{uuid4().hex[:6]}"}) for name in ("A", "B")]
    random = np.random.default_rng(7)
    for index in range(30):
        days = 60 - 2 * index
        new = days <= 10
        value = LEVEL + (step if new else 0.0) + 0.03 * float(random.standard_normal())
        house.a_reading(
            system["id"], value, taken_at=ago(house, days), unit="meq/L", lot_id=lots[new]["id"], relative_sd=0.015
        )
    for index, off in enumerate(standards):
        house.a_reading(
            system["id"], 2.80 + off, taken_at=ago(house, 9 - 4 * index), unit="meq/L", lot_id=lots[1]["id"],
            purpose="check_standard", relative_sd=0.012, conditions={"stated_value": {"value": 2.80, "unit": "meq/L"}},
        )  # fmt: skip
    return system


def ago(house: House, days: float) -> str:
    return (house.now - timedelta(days=days)).isoformat()


def findings(house: House, system: dict[str, Any], **query: Any) -> list[dict[str, Any]]:
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption", params=query)
    return [each for each in answer["findings"] if each["code"] == "kit_off"]


def test_standards_and_step_together_name_a_lot_that_reads_high(house: House) -> None:
    system = records(house, standards=(0.14, 0.16, 0.15), step=0.15)
    found = findings(house, system)
    assert len(found) == 1
    assert "3 check standards" in found[0]["detail"]
    assert "meq/L high" in found[0]["detail"]
    assert "step" in found[0]["detail"]
    assert "dKH high" in findings(house, system, unit="dKH/d")[0]["detail"]


def test_sound_standards_clear_it(house: House) -> None:
    assert findings(house, records(house, standards=(0.01, -0.01, 0.0), step=0.02)) == []


def test_a_standard_in_another_unit_counts_as_what_it_holds(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)
    problem = house.call(
        "PUT",
        f"/v1/readings/{uuid4()}",
        {
            "subject_id": system["id"], "quantity": "alkalinity", "value": 2.9, "unit": "meq/L",
            "taken_at": ago(house, 1), "purpose": "check_standard",
            "conditions": {"stated_value": {"value": 8, "unit": "kg"}},
        },
        status=422,
    )  # fmt: skip
    assert problem["errors"][0]["pointer"] == "/conditions/stated_value"


@pytest.mark.parametrize(
    ("standards", "times", "named"),
    [(1, 7.8, False), (1, 8.2, True), (2, 4.4, False), (2, 4.6, True), (3, 97.0, False), (3, 103.0, True)],
)
def test_each_standard_is_given_its_share_of_the_false_alarms(standards: int, times: float, named: bool) -> None:
    """Standards alone that a lot off by 0.098 makes so many times as probable as a usual one, 0.0196."""
    own = 0.035**2 / standards + 0.014**2
    usual, off = own + 0.0196**2, own + 0.098**2
    apart = float(np.sqrt((np.log(times) + 0.5 * np.log(off / usual)) / (0.5 / usual - 0.5 / off)))
    lot, first = uuid4(), datetime(2026, 1, 1, tzinfo=UTC)
    read = [
        StandardRead(lot, first + timedelta(days=14 * index), 2.8 + apart, 2.8, 0.035) for index in range(standards)
    ]
    silent = cast(ConsumptionEstimate, SimpleNamespace(lot_steps=(), expected=None))
    assert (lot_in_use(silent, [1, 1, 1], [lot], read) is not None) == named


@pytest.mark.parametrize(("step", "off", "named"), [(0.5, 0.05, False), (0.11, 0.11, True), (0.0, 0.09, False)])
def test_an_addition_when_a_lot_is_opened_names_no_lot(step: float, off: float, named: bool) -> None:
    """Standards that lean a little the same way made half a meq/L the lot's before."""
    lots, first = [uuid4(), uuid4()], datetime(2026, 1, 1, tzinfo=UTC)
    read = [StandardRead(lots[0], first + timedelta(days=14 * index), 2.8, 2.8, 0.035) for index in range(4)]
    read.append(StandardRead(lots[1], first + timedelta(days=56), 2.8 + off, 2.8, 0.035))
    seen = LotStep(index=2, at_days=50.0, old_lot=1, new_lot=2, size=step, sd=0.067)
    found = cast(ConsumptionEstimate, SimpleNamespace(lot_steps=(seen,), expected=None))
    assert (lot_in_use(found, [1, 1, 2], lots, read) is not None) == named
