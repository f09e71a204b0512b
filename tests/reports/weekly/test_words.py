"""What the numbers of a line say."""

from __future__ import annotations

import pytest

from service.reports.weekly.words import Standing, heading, words


def standing(**changed: object) -> Standing:
    numbers: dict[str, object] = {
        "level": 8.0, "level_half": 0.1, "level_before": 8.0, "level_before_half": 0.1, "target": 8.0, "unit": "dKH",
        "is_tested": True,
    }  # fmt: skip
    return Standing(**{**numbers, **changed})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "Steady"),
        ({"level": 7.5}, "Falling: -0.50 dKH in the week"),
        ({"level": 8.4}, "Rising: +0.40 dKH in the week"),
        ({"level": 7.9}, "Steady"),  # within the intervals of the two levels
        ({"level": 7.5, "level_half": 1.0}, "Steady"),
        ({"is_tested": False}, "Not tested this week"),
        ({"level": None}, "Not enough readings to say"),
        ({"level_before": None}, "No comparison with the week before"),
    ],
)
def test_a_change_is_named_only_beyond_its_interval(changed: dict[str, object], said: str) -> None:
    assert words(standing(**changed)) == said


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "Now at its target."),
        ({"target": None}, None),
        ({"level": None}, None),
        ({"level": 7.5}, "Now 0.50 dKH below target and moving away."),
        ({"level": 7.5, "level_before": 7.0}, "Now 0.50 dKH below target; there in about 7 days at this rate."),
        ({"level": 8.6, "level_before": 8.6}, "Now 0.60 dKH above target."),
    ],
)
def test_a_heading_says_where_it_goes(changed: dict[str, object], said: str | None) -> None:
    assert heading(standing(**changed)) == said
