"""The forecast of a gas line's cylinders: worked lines, swaps, wrong weighings, days without end, and a small study."""

from dataclasses import replace

import numpy as np
import pytest
from studies.cylinder_life import JUDGED, figures, history_until, study
from studies.gas_line_runs import run_of

from service.science import co2
from service.science.cylinder_life import CylinderForecast, Levels, forecast_cylinder_life
from service.science.fieller import line_reaches
from service.science.gas_line import Cylinder, FlowChange, GasLineHistory, Weighing, lay_out, steps
from service.science.smoother import filter_forward

ONE = (Cylinder(from_days=0.0),)


def line(days: np.ndarray, masses: np.ndarray, sd_kg: float = 0.020) -> tuple[Weighing, ...]:
    return tuple(
        Weighing(at_days=float(day), net_kg=float(mass), cylinder=0, sd_kg=sd_kg)
        for day, mass in zip(days, masses, strict=True)
    )


def forecast(history: GasLineHistory, at: float, levels: Levels | None = None) -> CylinderForecast:
    [found] = forecast_cylinder_life(histories=[history], at_days=[at], levels=[levels or Levels()])
    return found


def test_a_constant_rate_is_found() -> None:
    """4.5 kg at 10 g/d weighed without error: 10 g/d, 3.9 kg on day 60, empty on day 450, liquid gone at 1.285 kg."""
    days = np.arange(0.0, 61.0, 5.0)
    gone = float(co2.liquid_gone_mass_kg(water_capacity_l=4.5 / 0.68, temperature_c=20.0))
    found = forecast(
        GasLineHistory(cylinders=ONE, weighings=line(days, 4.5 - 0.010 * days)), 60.0, Levels(liquid_gone_kg=gone)
    )
    assert found.use_g_d is not None
    assert found.use_g_d.value == pytest.approx(10.0, abs=0.05)
    assert found.remaining_kg is not None
    assert found.remaining_kg.value == pytest.approx(3.9, abs=0.002)
    assert found.empty is not None
    assert found.liquid_gone is not None
    assert found.empty.value == pytest.approx(450.0, abs=2.0)
    assert found.liquid_gone.value == pytest.approx((4.5 - gone) / 0.010, abs=2.0)
    for instant in (found.liquid_gone, found.empty):
        assert instant.low is not None
        assert instant.high is not None
        assert instant.low < instant.value < instant.high
    assert (found.missing, found.set_aside, found.scale_jumps) == (None, (), ())


@pytest.mark.parametrize("at", [22.0, 35.0, 60.0])
def test_the_filter_is_conditioning_of_a_gaussian(at: float) -> None:
    """A line with a change and a swap, against one dense linear regression on the path of the rate.

    The path gains something every tenth of a day; mass is its sum. Independent of the recursion it checks.
    """
    weighings = (
        Weighing(at_days=0.0, net_kg=4.5, cylinder=0), Weighing(at_days=9.0, net_kg=4.36, cylinder=0),
        Weighing(at_days=25.0, net_kg=4.10, cylinder=0), Weighing(at_days=40.0, net_kg=4.42, cylinder=1),
        Weighing(at_days=52.0, net_kg=4.20, cylinder=1),
    )  # fmt: skip
    history = GasLineHistory(
        cylinders=(Cylinder(from_days=0.0), Cylinder(from_days=40.0)),
        weighings=weighings,
        flow_changes=(FlowChange(at_days=20.0, ratio=1.2, relative_sd=0.1),),
    )
    nodes = lay_out(histories=[history], at_days=[at])
    forward = filter_forward(
        start_mean=np.array([[[4.0]], [[0.015]]]),
        start_covariance=np.diag([1e4, 0.05**2])[:, :, None, None],
        steps=steps(nodes=nodes, drift=np.array([[2e-3]]), rate_size_kg_d=np.array([0.014])),
        node_count=len(nodes.at_days),
        keep=False,
    )
    # Unknowns: two starting masses, the first rate, the jump, and the gains of the walk.
    cut, every = 0.05, 2
    times = np.arange(0.0, at + cut / 2, cut)
    count, swap = len(times), round(40.0 / cut)
    changed = times >= 20.0 - 1e-9
    factor = np.where(changed, 1.2, 1.0)
    gains = np.tril(np.ones((count, count)), -1)[:, : count - 1 : every] * 2e-3 * np.sqrt(every * cut)
    before = times[: count - 1 : every] < 20.0 - 1e-9
    gains = gains * np.where(before[None], factor[:, None], 1.0)
    rate = np.column_stack([factor, changed.astype(float), gains])
    used = np.vstack([np.zeros(rate.shape[1]), np.cumsum(0.5 * (rate[1:] + rate[:-1]) * cut, axis=0)])
    unknown_sd = np.concatenate([[100.0, 100.0, 0.05, 0.1 * 1.2 * 0.014], np.ones(len(before))])
    mean = np.concatenate([[4.0, 0.0, 0.015], np.zeros(len(unknown_sd) - 3)])
    prior = np.diag(unknown_sd**2)

    def mass(node: int, cylinder: int) -> np.ndarray:
        gone = used[node] - (used[swap] if cylinder else 0.0)
        return np.concatenate([[1.0 - cylinder, float(cylinder)], -gone])

    known = [w for w in weighings if w.at_days <= at]
    design = np.array([mass(round(w.at_days / cut), w.cylinder) for w in known])
    total = design @ prior @ design.T + 0.020**2 * np.eye(len(known))
    gain = prior @ design.T @ np.linalg.inv(total)
    mean = mean + gain @ (np.array([w.net_kg for w in known]) - design @ mean)
    prior = prior - gain @ design @ prior
    ask = np.array([mass(count - 1, int(at >= 40.0)), np.concatenate([[0.0, 0.0], rate[-1]])])
    assert forward.mean[-1, :, 0, 0] == pytest.approx(ask @ mean, rel=5e-3)
    assert forward.covariance[-1, :, :, 0, 0] == pytest.approx(ask @ prior @ ask.T, rel=1e-2)


def test_the_days_are_where_the_filter_itself_will_be() -> None:
    """Asked again on each day found, without a new weighing, the mass stands at the level with that probability.

    There the filter's own steps carry the mass on, not the formula that looked for the day.
    """
    rng = np.random.default_rng(10_011)
    days = np.arange(0.0, 90.0, 6.0)
    masses = 4.5 - 0.025 * days + 0.020 * rng.standard_normal(len(days))
    history = GasLineHistory(cylinders=ONE, weighings=line(days, masses))
    empty = forecast(history, 90.0, Levels(empty_kg=0.2)).empty
    assert empty is not None
    for day, part in ((empty.low, "low"), (empty.value, "value"), (empty.high, "high")):
        then = forecast(history, float(day)).remaining_kg
        assert then is not None
        assert getattr(then, part) == pytest.approx(0.2, abs=0.02 if part == "value" else 1e-4), part


def test_a_steady_line_agrees_with_the_interval_for_a_constant_rate() -> None:
    """Same readings, known scatter: the filter's interval is a little wider than Fieller's, because rates wander."""
    rng = np.random.default_rng(10_010)
    days = np.arange(0.0, 120.0, 6.0)
    masses = 4.5 - 0.020 * days + 0.020 * rng.standard_normal(len(days))
    found = forecast(GasLineHistory(cylinders=ONE, weighings=line(days, masses)), 114.0)
    constant = line_reaches(at_days=days, mass_kg=masses, offset_sd_kg=0.020)
    assert found.empty is not None
    assert found.empty.value == pytest.approx(float(constant.at_days), abs=6.0)
    assert found.empty.high is not None
    assert found.empty.low is not None
    ours, theirs = found.empty.high - found.empty.low, float(constant.high_days - constant.low_days)
    assert theirs < ours < 5.0 * theirs


def test_the_rate_lives_through_a_swap() -> None:
    """One weighing of the new cylinder is enough: the line's rate is known from the old one."""
    days = np.arange(0.0, 150.0, 7.0)
    old = line(days, 4.5 - 0.025 * days)
    cylinders = (Cylinder(from_days=0.0), Cylinder(from_days=150.0))
    new = Weighing(at_days=150.0, net_kg=4.4, cylinder=1)
    found = forecast(GasLineHistory(cylinders=cylinders, weighings=(*old, new)), 152.0)
    assert found.empty is not None
    assert found.empty.value == pytest.approx(150.0 + 4.4 / 0.025, abs=3.0)
    assert found.empty.high is not None
    assert found.empty.high - found.empty.low < 60.0
    by_charge = (cylinders[0], Cylinder(from_days=150.0, charge_kg=4.4, charge_sd_kg=0.2))
    unweighed = forecast(GasLineHistory(cylinders=by_charge, weighings=old), 152.0)
    assert unweighed.empty is not None
    assert unweighed.empty.value == pytest.approx(found.empty.value, abs=1.0)
    assert unweighed.empty.high - unweighed.empty.low > found.empty.high - found.empty.low
    nothing = forecast(GasLineHistory(cylinders=cylinders, weighings=old), 152.0)
    assert (nothing.missing, nothing.empty, nothing.remaining_kg) == ("a_weighing_of_this_cylinder", None, None)
    assert nothing.use_g_d is not None


def test_an_old_cylinder_weighed_when_it_is_taken_off_is_not_the_new_one() -> None:
    cylinders = (Cylinder(from_days=0.0), Cylinder(from_days=30.0))
    old = (Weighing(at_days=0.0, net_kg=1.0, cylinder=0), Weighing(at_days=30.0, net_kg=0.4, cylinder=0))
    new = Weighing(at_days=30.0, net_kg=4.5, cylinder=1)
    found = forecast(GasLineHistory(cylinders=cylinders, weighings=(new, *old)), 30.0)
    assert found.remaining_kg is not None
    assert found.use_g_d is not None
    assert found.remaining_kg.value == pytest.approx(4.5, abs=0.001)
    assert found.use_g_d.value == pytest.approx(20.0, abs=0.5)


def test_too_few_weighings_say_what_is_missing() -> None:
    one = forecast(GasLineHistory(cylinders=ONE, weighings=line(np.array([3.0]), np.array([4.4]))), 5.0)
    assert (one.missing, one.empty, one.use_g_d, one.remaining_kg) == ("a_second_weighing", None, None, None)
    none = forecast(GasLineHistory(cylinders=ONE), 5.0)
    assert (none.missing, none.remaining_kg) == ("a_weighing_of_this_cylinder", None)
    charged = (Cylinder(from_days=0.0, charge_kg=4.5, charge_sd_kg=0.05),)
    found = forecast(GasLineHistory(cylinders=charged, weighings=line(np.array([90.0]), np.array([2.7]))), 90.0)
    assert found.use_g_d is not None
    assert found.use_g_d.value == pytest.approx(20.0, abs=0.3)


def test_a_few_weighings_give_no_last_day() -> None:
    """Three weekly weighings of 20 g at 3 g/d: the low end is known, no upper bound."""
    found = forecast(
        GasLineHistory(cylinders=ONE, weighings=line(np.array([0.0, 7, 14]), np.array([4.5, 4.48, 4.459]))), 14.0
    )
    assert found.empty is not None
    assert found.empty.low is not None
    assert found.empty.low > 14.0
    assert found.empty.high is None


def test_a_mass_that_does_not_fall_gives_no_day() -> None:
    days = np.arange(0.0, 30.0, 5.0)
    found = forecast(GasLineHistory(cylinders=ONE, weighings=line(days, 4.5 + 0.001 * days)), 25.0)
    assert found.empty is not None
    assert (found.empty.value, found.empty.high, found.missing) == (None, None, None)


def test_a_level_that_has_been_passed_is_said_so() -> None:
    days = np.arange(0.0, 100.0, 7.0)
    found = forecast(
        GasLineHistory(cylinders=ONE, weighings=line(days, 2.2 - 0.012 * days)), 98.0, Levels(liquid_gone_kg=1.285)
    )
    assert found.liquid_gone is not None
    assert found.empty is not None
    assert found.liquid_gone.has_passed
    assert found.liquid_gone.value == 98.0
    assert not found.empty.has_passed
    warm = forecast(GasLineHistory(cylinders=ONE, weighings=line(days, 2.2 - 0.012 * days)), 98.0)
    assert warm.liquid_gone is None


def test_a_tare_and_a_level_that_may_be_off_widen_the_answer() -> None:
    days = np.arange(0.0, 150.0, 3.0)
    history = GasLineHistory(cylinders=ONE, weighings=line(days, 4.5 - 0.025 * days))
    loose = replace(history, cylinders=(Cylinder(from_days=0.0, tare_sd_kg=0.3),))
    sure, unsure = forecast(history, 147.0).empty, forecast(loose, 147.0).empty
    vague = forecast(history, 147.0, Levels(empty_sd_kg=0.3)).empty
    assert sure is not None
    assert unsure is not None
    assert vague is not None
    assert unsure.high - unsure.low > 1.3 * (sure.high - sure.low)
    assert vague.high - vague.low == pytest.approx(unsure.high - unsure.low, rel=0.01)


def test_a_wrong_weighing_is_set_aside_and_shown() -> None:
    """A regulator left on the scale once: 1.2 kg too much. Left on from then on: the jump is named."""
    days = np.arange(0.0, 100.0, 7.0)
    masses = 4.5 - 0.020 * days
    wrong = masses.copy()
    wrong[8] += 1.2
    once = forecast(GasLineHistory(cylinders=ONE, weighings=line(days, wrong)), 98.0)
    assert once.set_aside == (8,)
    assert once.empty is not None
    assert once.empty.value == pytest.approx(225.0, abs=3.0)
    wrong[8:] += 1.2
    wrong[8] -= 1.2
    [jump] = forecast(GasLineHistory(cylinders=ONE, weighings=line(days, wrong)), 98.0).scale_jumps
    assert (jump.after_days, jump.at_days) == (49.0, 56.0)
    assert jump.size_kg == pytest.approx(1.2, abs=0.05)


def test_a_noted_change_is_learned_faster_than_an_unnoted_one() -> None:
    days = np.arange(0.0, 130.0, 7.0)
    masses = np.where(days < 100.0, 4.5 - 0.020 * days, 2.5 - 0.026 * (days - 100.0))
    unnoted = GasLineHistory(cylinders=ONE, weighings=line(days, masses))
    noted = replace(unnoted, flow_changes=(FlowChange(at_days=100.0),))
    sized = replace(unnoted, flow_changes=(FlowChange(at_days=100.0, ratio=1.3, relative_sd=0.05),))
    true_day = 100.0 + 2.5 / 0.026
    errors = []
    for history in (unnoted, noted, sized):
        empty = forecast(history, 120.0).empty
        assert empty is not None
        errors.append(abs(empty.value - true_day))
    assert errors[1] < errors[0]
    assert errors[2] < 2.0


def test_many_lines_at_once_are_each_alone() -> None:
    runs = [run_of(seed) for seed in range(10_300, 10_304)]
    asked = [(run, run.step_day + 31.0) for run in runs]
    together = forecast_cylinder_life(
        histories=[history_until(run, at) for run, at in asked],
        at_days=[at for _, at in asked],
        levels=[Levels(liquid_gone_kg=1.2, liquid_gone_sd_kg=0.05)] * 4,
    )
    for (run, at), one in zip(asked, together, strict=True):
        alone = forecast(history_until(run, at), at, Levels(liquid_gone_kg=1.2, liquid_gone_sd_kg=0.05))
        for instant, other in ((one.empty, alone.empty), (one.liquid_gone, alone.liquid_gone)):
            assert instant is not None
            assert other is not None
            assert instant.value == pytest.approx(other.value, rel=1e-6)
            assert instant.low == pytest.approx(other.low, rel=1e-6)
            assert instant.low <= instant.value
        assert one.liquid_gone.value < one.empty.value
    assert forecast_cylinder_life(histories=[], at_days=[], levels=[]) == []


@pytest.mark.parametrize(
    ("history", "field"),
    [
        ({"cylinders": ()}, "cylinders"),
        ({"cylinders": (Cylinder(from_days=5.0), Cylinder(from_days=5.0))}, "cylinders"),
        ({"weighings": (Weighing(at_days=1.0, net_kg=4.0, cylinder=1),)}, r"weighings\[0\].cylinder"),
        ({"weighings": (Weighing(at_days=-1.0, net_kg=4.0, cylinder=0),)}, r"weighings\[0\].at_days"),
        ({"weighings": (Weighing(at_days=1.0, net_kg=4.0, cylinder=0, sd_kg=0.0),)}, r"weighings\[0\].sd_kg"),
        ({"flow_changes": (FlowChange(at_days=1.0, ratio=0.0),)}, r"flow_changes\[0\]"),
    ],
)
def test_a_record_that_contradicts_itself_is_refused(history: dict, field: str) -> None:
    with pytest.raises(ValueError, match=field):
        GasLineHistory(**{"cylinders": ONE} | history)


def test_an_instant_before_the_first_cylinder_is_refused() -> None:
    with pytest.raises(ValueError, match="at_days"):
        forecast(GasLineHistory(cylinders=ONE), -1.0)


@pytest.mark.parametrize("scenario", list(JUDGED))
def test_a_small_study_meets_the_bars(scenario: str) -> None:
    """tests/studies/cylinder_life.py on a few runs: the bars at the width a few runs allow."""
    found = figures(study(range(10_400, 10_420), **JUDGED[scenario]))
    print(scenario, found)
    assert found.asked > 100
    assert found.over_oracle < 1.35
    assert 0.93 - 2.5 * found.cover_se - 0.01 <= found.cover <= 1.0
    assert found.none == 0.0
