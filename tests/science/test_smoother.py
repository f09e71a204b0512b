"""The filter and smoother against statsmodels, dense Gaussian conditioning and a published series."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from service.science.smoother import (
    ForwardPass,
    Mixing,
    Smoothed,
    Step,
    filter_forward,
    look_back,
    pull_back,
    smooth_backward,
)
from service.science.transition import transition

# Computed with statsmodels 0.15.0 MLEModel with time-varying matrices; the file says so and holds the model.
CASE = json.loads((Path(__file__).parents[2] / "shared" / "reference" / "kalman_case.json").read_text())


def lanes(value: float, size: int = 1) -> np.ndarray:
    return np.full((size, 1), value)


def exact_step(
    k: float,
    dt: float,
    supply: float,
    s_a: float,
    s_d: float,
    *,
    reading: tuple[float, float] | None = None,
    mixing: Mixing | None = None,
    size: int = 1,
) -> Step:
    step = transition(exchange_per_day=lanes(k, size), dt_days=lanes(dt, size))
    q12 = s_d**2 * step.demand_12_days2
    q11 = s_d**2 * step.demand_11_days3 + s_a**2 * step.level_11_days
    zero, one = lanes(0.0, size), lanes(1.0, size)
    return Step(
        first_row=np.stack([step.decay, -step.response_days]),
        carry=np.stack([zero, one]),
        push=supply * step.response_days,
        noise=np.stack([np.stack([q11, q12]), np.stack([q12, s_d**2 * step.dt_days])]),
        mixing=mixing,
        reading=lanes(reading[0] if reading else 0.0, size),
        reading_variance=lanes(reading[1] if reading else 1.0, size),
        has_reading=np.full((size, 1), True) if reading else None,
    )


def case_steps(case: dict[str, Any], size: int = 1) -> tuple[list[Step], list[bool]]:
    """The steps of the reference case, the water change a node of its own, and which nodes are readings."""
    events = [(t, (y, v), None) for t, y, v in zip(case["t_days"], case["y_meq_per_L"], case["obs_var"], strict=True)]
    for change in case["water_changes"]:
        mixing = Mixing(
            lanes(change["fraction"], size),
            lanes(0.0, size),
            lanes(change["A_new"], size),
            lanes(change["sd_A_new"] ** 2, size),
        )
        events.append((change["t"], None, mixing))
    events.sort(key=lambda event: event[0])
    before = events[0][0]
    steps = []
    for at, reading, mixing in events:
        supply = case["u"] + case["k_per_day"] * case["Aeff"]
        steps.append(
            exact_step(
                case["k_per_day"],
                at - before,
                supply,
                case["sa"],
                case["sd"],
                reading=reading,
                mixing=mixing,
                size=size,
            )
        )
        before = at
    return steps, [reading is not None for _, reading, _ in events]


def run(case: dict[str, Any], size: int = 1) -> tuple[ForwardPass, Smoothed, list[bool]]:
    steps, readings = case_steps(case, size)
    forward = filter_forward(
        start_mean=np.broadcast_to(np.array(case["x0"])[:, None, None], (2, size, 1)),
        start_covariance=np.broadcast_to(np.array(case["P0"])[:, :, None, None], (2, 2, size, 1)),
        steps=steps,
        node_count=len(steps),
    )
    return forward, smooth_backward(forward=forward), readings


def test_the_reference_case_is_reproduced() -> None:
    forward, smoothed, readings = run(CASE)
    expected = CASE["expected"]
    assert forward.log_likelihood.item() == pytest.approx(expected["loglik"], rel=1e-9)
    for ours, name in (
        (forward.mean[:, 0], "filtered_A"),
        (forward.mean[:, 1], "filtered_d"),
        (forward.covariance[:, 1, 1], "filtered_d_var"),
        (smoothed.mean[:, 0], "smoothed_A"),
        (smoothed.mean[:, 1], "smoothed_d"),
        (smoothed.covariance[:, 1, 1], "smoothed_d_var"),
    ):
        np.testing.assert_allclose(ours[readings, 0, 0], expected[name], rtol=1e-9, err_msg=name)


def test_the_forecast_of_the_reference_case_is_reproduced() -> None:
    steps, _ = case_steps(CASE)
    steps.append(
        exact_step(CASE["k_per_day"], 7.0, CASE["u"] + CASE["k_per_day"] * CASE["Aeff"], CASE["sa"], CASE["sd"])
    )
    forward = filter_forward(
        start_mean=np.array(CASE["x0"])[:, None, None],
        start_covariance=np.array(CASE["P0"])[:, :, None, None],
        steps=steps,
        node_count=len(steps),
        keep=False,
    )
    expected = CASE["expected"]["forecast_7d"]
    ours = [forward.mean[0, 0], forward.mean[0, 1], forward.covariance[0, 0, 0], forward.covariance[0, 1, 1]]
    np.testing.assert_allclose(np.ravel(ours), [expected[key] for key in ("A", "d", "var_A", "var_d")], rtol=1e-9)


def test_lanes_do_not_touch_each_other() -> None:
    single, _, _ = run(CASE)
    many, smoothed, _ = run(CASE, size=7)
    np.testing.assert_array_equal(many.mean, np.broadcast_to(single.mean, many.mean.shape))
    assert np.ptp(smoothed.mean, axis=2).max() == 0.0


def test_a_covariance_stays_symmetric_and_positive_definite_through_a_sharp_reading() -> None:
    # A laboratory reading 1e6 times sharper than what is known: the update that loses P by cancellation when it is
    # written P - K H P (Bucy and Joseph 1968).
    steps = [exact_step(0.1, 1.0, 0.3, 0.01, 0.01, reading=(2.9, 1e-12)) for _ in range(200)]
    forward = filter_forward(
        start_mean=np.array([3.0, 0.3])[:, None, None],
        start_covariance=np.diag([1.0, 1.0])[:, :, None, None],
        steps=steps,
        node_count=200,
    )
    covariance = forward.covariance[..., 0, 0]
    np.testing.assert_allclose(covariance[:, 0, 1], covariance[:, 1, 0], atol=1e-15)
    assert np.all(np.linalg.eigvalsh(covariance) > 0)


def dense(case: dict[str, Any], nodes: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Smoothed means, variances and log-likelihood by writing all states as one Gaussian and conditioning it.

    Built from F and Q of each step alone, no recursion: mean and covariance of the stacked states, then the
    conditional Gaussian (any textbook of multivariate statistics).
    """
    steps, _ = case_steps(case)
    steps = steps[:nodes]
    mean, covariance = np.array(case["x0"], dtype=float), np.array(case["P0"], dtype=float)
    means, maps, noises = [], [], []
    for step in steps:
        f = np.array([step.first_row[:, 0, 0], [0.0, 1.0]])
        b, q = np.array([step.push.item(), 0.0]), step.noise[..., 0, 0].copy()
        if step.mixing:
            left = np.diag([1 - step.mixing.fraction.item(), 1.0])
            f, b, q = left @ f, left @ b, left @ q @ left
            b[0] += step.mixing.fraction.item() * step.mixing.new_value.item()
            q[0, 0] += step.mixing.fraction.item() ** 2 * step.mixing.new_variance.item()
        mean = f @ mean + b
        means.append(mean)
        maps.append(f)
        noises.append(q)
    size = 2 * nodes
    whole = np.zeros((size, size))
    for i in range(nodes):
        covariance = maps[i] @ covariance @ maps[i].T + noises[i]
        block = covariance
        whole[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] = block
        for j in range(i + 1, nodes):
            block = maps[j] @ block
            whole[2 * j : 2 * j + 2, 2 * i : 2 * i + 2] = block
            whole[2 * i : 2 * i + 2, 2 * j : 2 * j + 2] = block.T
    rows = [i for i, step in enumerate(steps) if step.has_reading is not None]
    h = np.zeros((len(rows), size))
    h[range(len(rows)), [2 * i for i in rows]] = 1.0
    y = np.array([steps[i].reading.item() for i in rows])
    r = np.diag([steps[i].reading_variance.item() for i in rows])
    s = h @ whole @ h.T + r
    residual = y - h @ np.concatenate(means)
    weight = whole @ h.T @ np.linalg.inv(s)
    smoothed = np.concatenate(means) + weight @ residual
    variance = np.diag(whole - weight @ h @ whole)
    log_likelihood = -0.5 * (residual @ np.linalg.solve(s, residual) + np.linalg.slogdet(2 * np.pi * s)[1])
    return smoothed.reshape(-1, 2), variance.reshape(-1, 2), float(log_likelihood)


@pytest.mark.parametrize("k", [0.0, 0.05, 1.3])
def test_six_irregular_points_agree_with_dense_conditioning(k: float) -> None:
    times = [0.0, 0.4, 3.1, 3.6, 9.0, 15.5]
    case = {
        **CASE, "k_per_day": k, "t_days": times, "y_meq_per_L": CASE["y_meq_per_L"][:6], "obs_var": CASE["obs_var"][:6],
        "water_changes": [{"t": 5.0, "fraction": 0.2, "A_new": 3.4, "sd_A_new": 0.1}],
    }  # fmt: skip
    forward, smoothed, _ = run(case)
    means, variances, log_likelihood = dense(case, 7)
    np.testing.assert_allclose(smoothed.mean[..., 0, 0], means, rtol=1e-11)
    ours = smoothed.covariance[:, [0, 1], [0, 1], 0, 0]
    np.testing.assert_allclose(ours, variances, rtol=1e-9)
    assert forward.log_likelihood.item() == pytest.approx(log_likelihood, rel=1e-11)


def test_a_water_change_scales_the_covariance_with_the_demand_too() -> None:
    # By hand, fraction 0.25 +- 0.02, new water 3.4 +- 0.1 into A = 2.6, P = [[0.04, -0.01], [-0.01, 0.09]]:
    # A = 2.8, P11 = 0.5625 x 0.04 + (0.25 x 0.1)^2 + 0.8^2 x 0.02^2, P12 = -0.0075, P22 unchanged.
    mixing = Mixing(lanes(0.25), lanes(0.02**2), lanes(3.4), lanes(0.1**2))
    step = exact_step(0.0, 0.0, 0.0, 0.0, 0.0, mixing=mixing)
    start = np.array([[0.04, -0.01], [-0.01, 0.09]])
    forward = filter_forward(
        start_mean=np.array([2.6, 0.3])[:, None, None],
        start_covariance=start[:, :, None, None],
        steps=[step],
        node_count=1,
    )
    assert forward.mean[0, 0].item() == pytest.approx(2.8)
    expected = [[0.0225 + 0.000625 + 0.000256, -0.0075], [-0.0075, 0.09]]
    np.testing.assert_allclose(forward.covariance[0, :, :, 0, 0], expected, rtol=1e-12)


def test_what_lies_between_two_nodes_follows_from_the_next_nodes_adjoint() -> None:
    # A node without a reading, put into the record, must give what looking back across the whole step gives.
    steps, _ = case_steps(CASE)
    _, smoothed, _ = run(CASE)
    node, share = 4, 0.37
    dt = CASE["t_days"][node] - CASE["t_days"][node - 1]
    values = (CASE["k_per_day"], CASE["u"] + CASE["k_per_day"] * CASE["Aeff"], CASE["sa"], CASE["sd"])
    first = exact_step(values[0], share * dt, *values[1:])
    second = exact_step(values[0], (1 - share) * dt, *values[1:])
    second = second._replace(reading=steps[node].reading, reading_variance=steps[node].reading_variance,
                             has_reading=steps[node].has_reading)  # fmt: skip
    longer = [*steps[:node], first, second, *steps[node + 1 :]]
    inserted = filter_forward(
        start_mean=np.array(CASE["x0"])[:, None, None], start_covariance=np.array(CASE["P0"])[:, :, None, None],
        steps=longer, node_count=len(longer),
    )  # fmt: skip
    expected = smooth_backward(forward=inserted)
    np.testing.assert_allclose(expected.mean[node + 1 :], smoothed.mean[node:], rtol=1e-10)
    adjoint, information = pull_back(
        smoothed.adjoint[node], smoothed.adjoint_information[node], second.first_row, second.carry
    )
    mean, covariance = look_back(inserted.mean[node], inserted.covariance[node], adjoint, information)
    np.testing.assert_allclose(mean, expected.mean[node], rtol=1e-10)
    np.testing.assert_allclose(covariance, expected.covariance[node], rtol=1e-8)


@pytest.mark.oracles
def test_a_long_irregular_record_agrees_with_statsmodels() -> None:
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    rng = np.random.default_rng(20_001)
    times = np.cumsum(rng.uniform(0.2, 6.0, 120))
    case = {
        **CASE, "k_per_day": 0.07, "Aeff": 8.9, "t_days": times.tolist(), "water_changes": [],
        "y_meq_per_L": (2.8 + 0.05 * rng.standard_normal(120)).tolist(), "obs_var": [0.0025] * 120,
    }  # fmt: skip
    steps, _ = case_steps(case)
    model = MLEModel(np.array(case["y_meq_per_L"]), k_states=2, k_posdef=2)
    later = steps[1:]
    last = np.eye(2)
    model["design"] = np.array([[1.0, 0.0]])
    model["obs_cov"] = np.array([[0.0025]])
    model["selection"] = np.eye(2)
    model["transition"] = np.dstack([*(np.array([s.first_row[:, 0, 0], [0.0, 1.0]]) for s in later), last])
    model["state_intercept"] = np.array([[*(s.push.item() for s in later), 0.0], [0.0] * 120])
    model["state_cov"] = np.dstack([*(s.noise[..., 0, 0] for s in later), last])
    model.ssm.initialize_known(np.array(case["x0"]), np.array(case["P0"], dtype=float))
    theirs = model.ssm.smooth()
    forward, smoothed, _ = run(case)
    np.testing.assert_allclose(forward.mean[..., 0, 0].T, theirs.filtered_state, rtol=1e-9)
    np.testing.assert_allclose(smoothed.mean[..., 0, 0].T, theirs.smoothed_state, rtol=1e-9)
    np.testing.assert_allclose(np.moveaxis(smoothed.covariance[..., 0, 0], 0, -1), theirs.smoothed_state_cov, rtol=1e-8)
    assert forward.log_likelihood.item() == pytest.approx(theirs.llf, rel=1e-10)


@pytest.mark.oracles
def test_the_nile_is_smoothed_as_published() -> None:
    # Durbin and Koopman, Time Series Analysis by State Space Methods, chapter 2: variances 15099 and 1469.1 and a
    # log-likelihood of -632.54 without the diffuse first year (these three from memory); the series and the smoothed
    # level are statsmodels'.
    import statsmodels.api as sm

    flow = sm.datasets.nile.load_pandas().data["volume"].to_numpy()
    one = np.ones((1, 1, 1))
    step = Step(
        one, 0 * one, lanes(0.0), np.full((1, 1, 1, 1), 1469.1), None, lanes(0.0), lanes(15099.0), np.full((1, 1), True)
    )
    steps = [step._replace(reading=lanes(value)) for value in flow]
    forward = filter_forward(
        start_mean=np.full((1, 1, 1), 1000.0),
        start_covariance=np.full((1, 1, 1, 1), 1e9),
        steps=steps,
        node_count=len(steps),
    )
    first = filter_forward(
        start_mean=np.full((1, 1, 1), 1000.0), start_covariance=np.full((1, 1, 1, 1), 1e9), steps=steps, node_count=1
    )
    assert (forward.log_likelihood - first.log_likelihood).item() == pytest.approx(-632.54, abs=0.01)
    theirs = sm.tsa.UnobservedComponents(flow, "llevel", use_exact_diffuse=True).smooth([15099.0, 1469.1])
    ours = smooth_backward(forward=forward).mean[:, 0, 0, 0]
    np.testing.assert_allclose(ours, theirs.smoothed_state[0], rtol=1e-5)
