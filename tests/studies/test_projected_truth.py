"""A small part of the study of projections: bands hold a simulated truth when they are told what the keeper turns."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

import projected_truth

SEEDS = range(20_000, 20_040)


@pytest.fixture(scope="module")
def told() -> dict[str, projected_truth.Held]:
    return projected_truth.study(SEEDS)


@pytest.mark.parametrize(("quantity", "least"), [("alkalinity", 0.92), ("calcium", 0.88), ("ph", 0.88)])
def test_bands_hold_the_simulated_truth_about_95_times_in_100(
    told: dict[str, projected_truth.Held], quantity: str, least: float
) -> None:
    """With 40 runs, whole runs going wrong together, one standard error is 0.02 to 0.04."""
    found = told[quantity]
    print(found.line(quantity))
    assert least <= found.inside.mean(axis=1).mean()
    # and no wider than they have to be: of a normal error 1.0 would be right
    assert 0.55 < found.score.std() < 1.15


def test_bands_that_are_not_told_of_the_turn_miss_it(told: dict[str, projected_truth.Held]) -> None:
    untold = projected_truth.study(SEEDS, is_told=False)["alkalinity"].inside.mean()
    assert untold < 0.85
    assert told["alkalinity"].inside.mean() > untold + 0.1
