"""POST /v1/calculations/conversion: a value in another unit."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/conversion"


@pytest.mark.parametrize(
    ("sent", "expected", "tolerance"),
    [
        # 1 dKH = 10 mg/L CaO by definition; IUPAC masses
        ({"value": 1, "unit": "dKH", "to": "meq/L"}, 0.35665, 5e-5),
        ({"value": 1, "unit": "dKH", "to": "mg/L CaCO3"}, 17.848, 1e-3),
        # density by TEOS-10: 8 dKH at S 35, 25 C
        ({"value": 8, "unit": "dKH", "to": "umol/kg", "conditions": {"salinity": 35, "temperature": 25}}, 2788.1, 0.1),
        ({"value": 77, "unit": "degF", "to": "Cel"}, 25.0, 1e-9),
        # derived: EOS-80 density ratio, glass hydrometer at its own calibration temperature
        (
            {
                "value": 1.0250, "unit": "SG", "to": "1", "quantity": "salinity",
                "conditions": {"temperature": 25, "reference_temperature": 25},
            },
            33.188, 0.01,
        ),
        ({"value": 10, "unit": "mmol/L", "to": "mg/L", "quantity": "calcium"}, 400.78, 1e-6),
        ({"value": [1, 2], "unit": "m3", "to": "L"}, [1000, 2000], 1e-9),
    ],
)  # fmt: skip
def test_values_convert(house: House, sent: dict[str, Any], expected: Any, tolerance: float) -> None:
    answer = house.call("POST", PATH, sent)
    assert answer["value"] == pytest.approx(expected, abs=tolerance)
    assert answer["unit"] == sent["to"]


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"value": 8, "unit": "dKH", "to": "umol/kg"}, "/conditions/salinity"),
        ({"value": 8, "unit": "dKH", "to": "kg"}, "/to"),
        ({"value": 8, "unit": "dKH", "to": "meq/L", "quantity": "colour"}, "/quantity"),
        ({"value": 1.025, "unit": "SG", "to": "1", "quantity": "salinity", "conditions": {"temperature": 25}},
         "/conditions/reference_temperature"),
        ({"value": True, "unit": "L", "to": "mL"}, "/value"),
    ],
)  # fmt: skip
def test_what_does_not_convert_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    refused = house.call("POST", PATH, sent, status=422)
    assert pointer in [fault["pointer"] for fault in refused["errors"]]
