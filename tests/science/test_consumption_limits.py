"""Records nobody would keep on purpose: every answer stays finite and in order, without a numerical warning."""

import numpy as np
import pytest

from service.science.consumption import estimate_consumption
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges
from service.science.timeline import Timeline, lay_out


def odd_checks(rng: np.random.Generator, span: float, size: float) -> Checks:
    """None to five checks, some of them 0 or exact, some at one instant; perhaps set values and resets."""
    count = rng.integers(0, 6)
    settings = rng.integers(0 if count else 1, 4)
    return Checks(
        at_days=np.sort(rng.uniform(-5, span + 5, count)).round(rng.integers(0, 4)),
        value=rng.choice([0.0, 1.0, 5.0], count) * size,
        relative_sd=rng.choice([0.0, 0.03], count),
        systematic_sd=float(rng.choice([0.0, 0.1])),
        drift=float(rng.choice([0.0, 0.02])),
        set_at_days=np.sort(rng.uniform(-5, span, settings)),
        set_value=rng.choice([0.0, 1.0, 2.0], settings) * size,
        reset_days=rng.uniform(0, span, rng.integers(0, 3)),
        reset_sd=float(rng.choice([0.0, 0.1])),
    )


def odd_history(rng: np.random.Generator) -> SystemHistory:
    """Two to sixty readings over minutes or a year, sharp or useless, with whatever may go on beside them."""
    count, span = int(rng.integers(2, 60)), float(rng.choice([0.01, 1.0, 30.0, 400.0]))
    at = rng.uniform(0, span, count).round(3 if rng.random() < 0.8 else 0)
    start, changed = rng.uniform(-10, span + 10, rng.integers(0, 5)), rng.choice(at, rng.integers(0, 4))
    return SystemHistory(
        readings=Readings(
            at_days=at,
            value=rng.choice([0.0, 2.8, 400.0]) + rng.choice([0.0, 0.05, 5.0]) * rng.standard_normal(count),
            sd=np.full(count, rng.choice([1e-6, 0.05, 10.0])),
            lot=rng.integers(0, 3, count),
            replicate_group=rng.integers(-1, count // 2 + 1, count),
        ),
        doses=Doses(
            start_days=start,
            end_days=start + rng.choice([0.0, 1.0, 50.0], len(start)),
            amount=rng.standard_normal(len(start)),
            relative_sd=rng.uniform(0, 0.3, len(start)),
        ),
        water_changes=WaterChanges(
            at_days=changed,
            fraction=rng.choice([0.0, 0.1, 1.0], len(changed)),
            fraction_sd=rng.choice([0.0, 0.05], len(changed)),
            new_value=rng.uniform(0, 5, len(changed)),
            new_value_sd=rng.choice([0.0, 0.1], len(changed)),
        ),
        feeds=tuple(
            Feed(
                name=f"feed {number}",
                flow=odd_checks(rng, span, float(rng.choice([1e-9, 0.05, 5.0]))),
                inflow=odd_checks(rng, span, 3.0),
                from_days=rng.choice(np.array([None, 1.0])),
                to_days=rng.choice(np.array([None, span / 2 + 2])),
            )
            for number in range(rng.integers(0, 3))
        ),
    )


@pytest.mark.parametrize("seed", range(20_020, 20_060))
def test_odd_records_give_finite_intervals(seed: int) -> None:
    rng = np.random.default_rng(seed)
    (found,) = estimate_consumption(
        histories=[odd_history(rng)], at_days=[rng.uniform(-5, 450)], course_at_days=[np.linspace(-5, 450, 7)]
    )
    if found.best is None:
        assert found.missing
        return
    assert np.all(np.isfinite([found.best, found.best_low, found.best_high]))
    assert found.best_low <= found.best <= found.best_high
    for course in (found.course, found.levels):
        assert np.all(np.isfinite([course.value, course.low, course.high]))
        assert np.all(course.low <= course.high)


def test_odd_records_laid_out_together_are_laid_out_as_each_of_them_alone() -> None:
    rng = np.random.default_rng(20_070)
    histories, at_days = [odd_history(rng) for _ in range(60)], rng.uniform(-5, 450, 60)
    together = lay_out(histories=histories, at_days=at_days)
    for lane, (history, at) in enumerate(zip(histories, at_days, strict=True)):
        alone = lay_out(histories=[history], at_days=np.array([at]))
        nodes = len(alone.at_days)
        assert together.nodes_used[lane] == nodes
        for name in Timeline.__dataclass_fields__:
            ours, theirs = getattr(together, name)[..., lane], getattr(alone, name)[..., 0]
            ours = ours[:nodes] if ours.ndim else ours
            small = 1e-11 * np.abs(theirs).max()  # what a sum over all records loses of its digits
            np.testing.assert_allclose(ours, theirs, rtol=1e-9, atol=small, err_msg=f"{name} of {lane}")
