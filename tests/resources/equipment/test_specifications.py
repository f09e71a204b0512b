"""What a specification may say, by kind, and what physics rules out."""

from __future__ import annotations

from typing import Any, get_args

import pytest
from resources.equipment.yard import CYLINDER, Yard, told

from service.resources.equipment.pieces.specifications import SPECIFICATIONS, of_kind
from service.science.quantities import EQUIPMENT_KINDS
from service.science.quantity_table import EquipmentKind


def test_every_kind_that_quantities_know_has_a_specification() -> None:
    assert set(get_args(EquipmentKind)) == set(SPECIFICATIONS) == EQUIPMENT_KINDS


GOOD: list[tuple[str, dict[str, Any]]] = [
    (
        "calcium_reactor",
        {
            "chambers": 2,
            "chamber_volume": {"value": 9, "unit": "L"},
            "media_kind": "aragonite",
            "media_mass": {"value": 22, "unit": "kg"},
            "operation_mode": "constant_gas",
        },
    ),
    ("co2_cylinder", {**CYLINDER, "dip_tube": False, "test_date": "2024-05-01", "tare_includes": "valve, no cap"}),
    ("co2_cylinder", {}),
    ("co2_regulator", {"stages": 2}),
    ("pump", {"flow": {"value": 1200, "unit": "L/h"}}),
    ("limewater_stirrer", {"volume": {"value": 20, "unit": "L"}}),
    ("dosing_pump", {"flow": {"value": 4, "unit": "mL/min"}, "serial_number": "D-17"}),
    ("probe", {"quantity": "chamber_ph"}),
    (
        "gas_monitor",
        {
            "quantity": "room_co2",
            "alarm_set_points": [{"value": 5000, "unit": "ppm"}, {"value": 3, "unit": "%"}],
            "sensor_expires_on": "2028-01-31",
        },
    ),
    ("controller", {"note": "wall, left of the door"}),
    ("other", {}),
]


def test_every_kind_of_equipment_is_kept_as_it_was_sent(yard: Yard) -> None:
    for kind, specification in GOOD:
        piece = yard.piece(kind, specification=specification)
        assert (piece["kind"], piece["specification"]) == (kind, specification)
        assert yard.read("equipment", piece) == piece


BAD: list[tuple[str, dict[str, Any], str, str]] = [
    ("calcium_reactor", {"chambres": 2}, "/chambres", "not known"),
    ("calcium_reactor", {"chambers": 0}, "/chambers", "greater than or equal to 1"),
    ("calcium_reactor", {"chambers": True}, "/chambers", "whole number"),
    ("calcium_reactor", {"chamber_volume": {"value": 0, "unit": "L"}}, "/chamber_volume/value", "More than 0"),
    ("calcium_reactor", {"chamber_volume": {"value": 9, "unit": "kg"}}, "/chamber_volume/unit", "kg"),
    ("calcium_reactor", {"chamber_volume": {"value": "9", "unit": "L"}}, "/chamber_volume/value", "number"),
    ("calcium_reactor", {"media_kind": "gravel"}, "/media_kind", "aragonite"),
    (
        "calcium_reactor",
        {"chambers": 2, "chamber_volume": {"value": 9, "unit": "L"}, "media_mass": {"value": 37, "unit": "kg"}},
        "/media_mass",
        "do not fit",
    ),
    ("co2_cylinder", {**CYLINDER, "chamber_volume": {"value": 9, "unit": "L"}}, "/chamber_volume", "not known"),
    ("co2_cylinder", {**CYLINDER, "charge": {"value": 5.1, "unit": "kg"}}, "/charge", "call the gas supplier"),
    ("co2_cylinder", {**CYLINDER, "charge": {"value": -1, "unit": "kg"}}, "/charge/value", "More than 0"),
    ("co2_cylinder", {**CYLINDER, "stamped_tare": {"value": 6.85, "unit": "g"}}, "/stamped_tare", "Check the units"),
    ("co2_cylinder", {**CYLINDER, "water_capacity": {"value": 6.7, "unit": "bar"}}, "/water_capacity/unit", "bar"),
    ("co2_cylinder", {**CYLINDER, "water_capacity": {"value": 6.7, "unit": "pt"}}, "/water_capacity/unit", "pt"),
    ("co2_cylinder", {"dip_tube": "no"}, "/dip_tube", "true or false"),
    ("co2_cylinder", {"test_date": "2031-05-01"}, "/test_date", "test_due"),
    ("co2_cylinder", {"test_date": "May 2024"}, "/test_date", "a date is expected"),
    ("co2_cylinder", {"test_date": "2024-05-01", "test_due": "2023-05-01"}, "/test_due", "after test_date"),
    ("co2_regulator", {"stages": 3}, "/stages", "less than or equal to 2"),
    ("pump", {"flow": {"value": 0, "unit": "L/h"}}, "/flow/value", "More than 0"),
    ("dosing_pump", {"flow": {"value": 4, "unit": "mL"}}, "/flow/unit", "mL"),
    ("limewater_stirrer", {"volume": {"value": -2, "unit": "L"}}, "/volume/value", "More than 0"),
    ("probe", {}, "/quantity", "required"),
    ("probe", {"quantity": "happiness"}, "/quantity", "Known: alkalinity"),
    ("gas_monitor", {"quantity": "ph"}, "/quantity", "room_co2"),
    (
        "gas_monitor",
        {"quantity": "oxygen", "alarm_set_points": [{"value": 19.5, "unit": "%"}, {"value": 118, "unit": "%"}]},
        "/alarm_set_points/1/value",
        "Between 0 and 100",
    ),
    ("other", {"flow": {"value": 4, "unit": "mL/min"}}, "/flow", "not known"),
]


def test_what_a_specification_cannot_say_is_refused_where_it_stands(yard: Yard) -> None:
    for number, (kind, specification, pointer, words) in enumerate(BAD):
        content = {"site_id": yard.site["id"], "tag": f"bad-{number}", "kind": kind, "specification": specification}
        where, said = yard.refusal("equipment", content, 422)
        assert where == f"/specification{pointer}", (kind, specification, said)
        assert words in said, (kind, specification, said)
    assert yard.all("equipment") == []


def test_a_specification_is_an_object(yard: Yard) -> None:
    content = {"site_id": yard.site["id"], "tag": "x", "kind": "pump", "specification": ["flow"]}
    assert yard.refusal("equipment", content, 422)[0] == "/specification"


@pytest.mark.parametrize(
    ("capacity", "litres"),
    # 1 lb = 0.45359237 kg by definition; water 0.998 kg/L at 20 C (CRC Handbook), taken as 1 here
    [({"value": 6.7, "unit": "L"}, 6.7), ({"value": 14.8, "unit": "lb"}, 14.8 * 0.45359237 / 0.998)],
)
def test_a_water_capacity_may_be_stamped_as_a_mass_of_water(capacity: dict[str, Any], litres: float) -> None:
    cylinder = of_kind("co2_cylinder", {**CYLINDER, "water_capacity": capacity})
    assert cylinder.capacity_l == pytest.approx(litres, rel=3e-3)
    assert (cylinder.tare_kg, cylinder.charge_kg) == (6.85, 4.5)


def test_a_usual_fill_is_accepted_and_three_quarters_too(yard: Yard) -> None:
    # 49 CFR 173.304a(a)(2): CO2 at most 68 % of the water capacity by mass; other rules allow up to 75 %
    for ratio in (0.68, 0.75):
        yard.cylinder(specification={**CYLINDER, "charge": {"value": ratio * 6.7, "unit": "kg"}})


def test_a_new_specification_replaces_the_old_one_and_is_checked_alike(yard: Yard) -> None:
    cylinder = yard.cylinder()
    overfilled = {"specification": {**CYLINDER, "charge": {"value": 5.1, "unit": "kg"}}}
    problem = yard.change("equipment", cylinder, overfilled, status=422)
    assert told(problem)[0] == "/specification/charge"
    changed = yard.change("equipment", cylinder, {"specification": {"dip_tube": False}})
    assert (changed["version"], changed["specification"]) == (2, {"dip_tube": False})


def test_an_oxygen_monitor_says_that_it_does_not_warn_of_carbon_dioxide(yard: Yard) -> None:
    oxygen = yard.piece("gas_monitor", specification={"quantity": "oxygen"})
    assert "oxygen monitor does not warn" in oxygen["cautions"][0]
    assert yard.piece("gas_monitor", specification={"quantity": "room_co2"})["cautions"] == []
