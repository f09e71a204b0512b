"""POST /v1/calculations/net-water-volume: volume from a tracer, its interval by Fieller 1954."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/net-water-volume"


def tracer(before: float, after: float, unit: str = "mg/L", added: Any = None, **more: Any) -> dict[str, Any]:
    """5 g of something in a water."""
    each = {"unit": unit, **more}
    return {
        "tracer": {
            "added": added or {"value": 5, "unit": "g"},
            "before": {"value": before, **each},
            "after": {"value": after, **each},
        }
    }


def salt(before: float, after: float, **more: Any) -> dict[str, Any]:
    """Sea salt in a water."""
    return {
        "salt": {"added": {"value": 5, "unit": "kg"}, "before": {"value": before}, "after": {"value": after}, **more}
    }


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_a_mass_over_its_rise(house: House) -> None:
    """5 g raise 8 to 13 mg/L: 1000 L; with 0.2 mg/L a reading the ends are 5000/(5 +- 1.96 x 0.283) and a little."""
    answer = house.call("POST", PATH, tracer(8, 13, sd=0.2))
    found = answer["water_volume"]
    assert found["value"] == pytest.approx(1000)
    assert found["low"] == pytest.approx(1000 / (1 + 0.1126), rel=0.01)
    assert found["high"] == pytest.approx(1000 / (1 - 0.1126), rel=0.01)
    assert found["high"] - 1000 > 1000 - found["low"]  # a ratio's interval leans upward
    assert answer["relative_sd"] == pytest.approx(0.057, abs=0.003)
    four = house.call("POST", PATH, tracer(8, 13, sd=0.2, replicates=4))["water_volume"]
    assert (four["high"] - four["low"]) == pytest.approx((found["high"] - found["low"]) / 2, rel=0.05)


def test_alkalinity_is_a_tracer_too(house: House) -> None:
    """By hand: 500 meq raise 7.0 to 8.4 dKH, 0.4993 meq/L: 1001 L."""
    added = {"value": 500, "unit": "meq"}
    found = house.call("POST", PATH, tracer(7.0, 8.4, "dKH", added, sd=0.1))["water_volume"]
    assert found["value"] == pytest.approx(500 / (1.4 * 0.35665), rel=1e-4)


def test_sea_salt_and_salinity(house: House) -> None:
    """1000 kg at S 34 and 5 kg of salt make S 38.807 (salt conserved); 1000 kg are 977.9 L at 25 C."""
    per = 35.16504 / 35
    mixed = (34 * per + 5) / 1.005 / per
    answer = house.call("POST", PATH, salt(34, mixed))
    assert answer["water_volume"]["value"] == pytest.approx(977.9, abs=0.1)
    damp = house.call("POST", PATH, salt(34, mixed, dry_part=0.9))["water_volume"]["value"]
    assert damp == pytest.approx(0.9 * 977.9, abs=0.1)


def test_readings_that_do_not_tell_a_rise_have_no_upper_end(house: House) -> None:
    answer = house.call("POST", PATH, tracer(8, 8.3, sd=0.3))
    assert answer["water_volume"]["high"] is None
    # 5 g over a rise of 0.3 + 1.96 x 0.424 mg/L at most
    assert answer["water_volume"]["low"] == pytest.approx(5000 / (0.3 + 1.96 * 0.4243), rel=0.005)
    assert answer["relative_sd"] is None
    assert (codes(answer["findings"]), codes(answer["missing"])) == (["no_upper_end"], ["replicates"])


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({}, "/tracer"),
        ({**tracer(8, 13), **salt(34, 35)}, "/tracer"),
        (tracer(8, 8), "/tracer/after/value"),
        (tracer(13, 8), "/tracer/after/value"),
        (salt(35, 34), "/salt/after/value"),
        (tracer(8, 13, "dKH"), "/tracer/before/unit"),
        (tracer(8, 13, added={"value": 5, "unit": "L"}), "/tracer/added/unit"),
        (tracer(8, 13, added={"value": 5, "unit": "parsec"}), "/tracer/added/unit"),
        (tracer(8, 13, added={"value": 0, "unit": "g"}), "/tracer/added/value"),
        (tracer(8, 13, replicates=0), "/tracer/before/replicates"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, sent, status=422)
    assert problem["errors"][0]["pointer"] == pointer
