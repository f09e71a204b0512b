"""Headings: what people write above a column, and what it is taken for. Common practice, no source."""

from __future__ import annotations

import pytest

from service.science.quantities import QUANTITIES
from service.science.units import unit_named
from service.transfer.imports.headings import (
    UNIT_WORDS,
    USUAL_UNIT,
    Heading,
    conditions_in,
    other_use,
    quantity_in,
    sample_point_in,
    unit_in,
)


@pytest.mark.parametrize(
    ("text", "quantity", "unit"),
    [
        ("Alk (dKH)", "alkalinity", "dKH"),
        ("KH", "alkalinity", "dKH"),
        ("alkalinity [meq/L]", "alkalinity", "meq/L"),
        ("alk_umol_kg", "alkalinity", "umol/kg"),
        ("TA (µmol/kg)", "alkalinity", "umol/kg"),
        ("Ca ppm", "calcium", "mg/L"),
        ("Mg (mg/L)", "magnesium", "mg/L"),
        ("NO3 (ppm)", "nitrate", "mg/L NO3"),
        ("PO4 ppb", "phosphate", "ug/L PO4-P"),
        ("T (C) Surface", "temperature", "Cel"),
        ("Water temp °F", "temperature", "degF"),
        ("Salinity (ppt) Bottom", "salinity", "1"),
        ("SG", "salinity", "SG"),
        ("pH (NBS)", "ph", None),
        ("DO (mg/L)", "dissolved_oxygen", "mg/L"),
        ("do_perc", None, None),
        ("qc_salinity", None, None),
        ("sd alk", None, None),
        ("ORP (mV)", "orp", "mV"),
        ("New Flow Rate (L/min)", "inflow", "L/min"),
        ("Initials", None, None),
    ],
)
def test_a_heading_names_a_quantity_and_a_unit(text: str, quantity: str | None, unit: str | None) -> None:
    heading = Heading.of(text)
    assert quantity_in(heading) == quantity
    if quantity is not None:
        assert unit_in(heading, quantity) == unit


@pytest.mark.parametrize(
    ("text", "use"),
    [
        ("Date", "date"),
        ("Date/Time", "date_and_time"),
        ("date and time", "date_and_time"),
        ("When", "date_and_time"),
        ("where", "subject"),
        ("Time Start(PSD)", "time"),
        ("Sample ID", "subject"),
        ("Tank", "subject"),
        ("initials", "observer"),
        ("Comments", "note"),
        ("work done", "maintenance"),
        ("colour", None),
    ],
)
def test_a_heading_names_something_else(text: str, use: str | None) -> None:
    assert other_use(Heading.of(text)) == use


def test_what_else_a_heading_says() -> None:
    assert conditions_in(Heading.of("pH (NBS)"), "ph") == {"scale": "nbs"}
    assert conditions_in(Heading.of("ph_total"), "ph") == {"scale": "total"}
    assert conditions_in(Heading.of("pH"), "ph") == {}
    assert sample_point_in(Heading.of("T (C) Bottom")) == "bottom"


def test_every_unit_that_a_word_stands_for_is_one_the_quantity_takes() -> None:
    for quantity, words in UNIT_WORDS.items():
        for unit in [*words.values(), *([USUAL_UNIT[quantity]] if quantity in USUAL_UNIT else [])]:
            assert unit_named(unit).code in QUANTITIES[quantity].units, (quantity, unit)
