"""Made-up gas lines with a known truth, and what is known to one who knows their settings.

**The truth.** A line uses gas at a rate whose logarithm is a random walk, 0.005 a square root of a day unless the
scenario says otherwise; once it is changed by a factor of 1.3 or 0.7. Cylinders of 4.5 kg, one swap when little is
left, weighings about weekly with 20 g of scatter, and each cylinder's stated tare off by an error of sd 20 g.

**The record** of the change is either its moment and size (bubbles counted before and after, 10 % off) or its moment
alone.

**The oracle** is a plain two-state filter in matrix form that is told the walk, the scale's and the tares' sd, and of
the change what was recorded; where that is the moment alone it is told that the factor is 1.3 or 0.7, and weighs the
two by how well they explain the weighings. It is not told the tares, the rate, or what comes.

Nothing here is shared with the service's estimator.
"""

from dataclasses import dataclass

import numpy as np

WALK = 0.005
STEPS = (0.7, 1.3)
SCALE_SD_KG = 0.020
TARE_SD_KG = 0.020
CHARGE_KG = 4.5
TIME_STEP_DAYS = 0.25
NOTED_SD = 0.10
LONGEST_DAYS = 4000.0


@dataclass(frozen=True)
class Run:
    """One line: weighings (day, net kg by the stated tare, cylinder), the noted change, the swap, and the truth."""

    weighings: list[tuple[float, float, int]]
    step_day: float
    noted_ratio: float | None
    walk: float
    swap_day: float
    grid_days: np.ndarray
    used_kg: np.ndarray
    charges_kg: tuple[float, float]

    def until(self, day: float) -> list[tuple[float, float, int]]:
        """Weighings that had been made by that day."""
        return [each for each in self.weighings if each[0] <= day]

    def cylinder_at(self, day: float) -> int:
        """0 before the swap, 1 from it on."""
        return int(day >= self.swap_day)

    def true_empty_day(self, day: float) -> float:
        """When the cylinder on the line at `day` has nothing left, were it left on."""
        cylinder = self.cylinder_at(day)
        before = 0.0 if cylinder == 0 else float(np.interp(self.swap_day, self.grid_days, self.used_kg))
        return float(np.interp(before + self.charges_kg[cylinder], self.used_kg, self.grid_days))


def run_of(seed: int, *, walk: float = WALK, is_size_noted: bool = True) -> Run:
    """The gas line of a seed: how fast its rate wanders, and whether the size of the change was recorded."""
    rng = np.random.default_rng([seed, 4711])
    days = np.arange(0.0, LONGEST_DAYS, TIME_STEP_DAYS)
    path = np.cumsum(walk * np.sqrt(TIME_STEP_DAYS) * rng.standard_normal(len(days)))
    rate = rng.uniform(0.010, 0.025) * np.exp(path)
    step_day, factor = float(rng.uniform(30.0, 200.0)), float(rng.choice(STEPS))
    rate[days >= step_day] *= factor
    used = np.concatenate([[0.0], np.cumsum(rate[:-1] * TIME_STEP_DAYS)])
    charges = tuple(CHARGE_KG + 0.05 * rng.standard_normal(2))
    swap = float(np.interp(charges[0] - rng.uniform(0.05, 0.5), used, days))
    tares = TARE_SD_KG * rng.standard_normal(2)
    second_empty = float(np.interp(np.interp(swap, days, used) + charges[1], used, days))
    weighings = []
    for cylinder, (first, last) in enumerate([(0.0, swap), (swap, second_empty)]):
        start = float(np.interp(first, days, used))
        at = first + np.concatenate([[0.0], np.cumsum(rng.uniform(4.0, 10.0, 400))])
        for day in at[at < last]:
            left = charges[cylinder] - (np.interp(day, days, used) - start)
            weighings.append(
                (float(day), float(left + tares[cylinder] + SCALE_SD_KG * rng.standard_normal()), cylinder)
            )
    noted = factor * float(1.0 + NOTED_SD * rng.standard_normal()) if is_size_noted else None
    return Run(weighings, step_day, noted, walk, swap, days, used, charges)


def instants_of(run: Run) -> list[float]:
    """When the forecast is asked: after the noted change, on both cylinders, while more than 15 days are left."""
    offsets = [run.step_day + x for x in (8.0, 30.0, 70.0)]
    offsets += [run.swap_day + x for x in (1.0, 15.0, 40.0, 90.0, 150.0)]
    later = [day for day in offsets if day > run.step_day + 5.0]
    return sorted(day for day in later if day + 15.0 < run.true_empty_day(day))


def oracle_empty_day(run: Run, at: float) -> float:
    """The oracle's best day for the present cylinder to be empty; inf where its rate is not above nothing."""
    if run.noted_ratio is not None:
        state, _ = _filtered(run, at, run.noted_ratio, NOTED_SD)
        return at + state[0] / state[1] if state[1] > 0 else np.inf
    found = [_filtered(run, at, factor, 0.0) for factor in STEPS]
    weight = np.exp([fit - max(fit for _, fit in found) for _, fit in found])
    left = [state[0] / state[1] if state[1] > 0 else np.inf for state, _ in found]
    return at + float(np.average(left, weights=weight))


def _filtered(run: Run, at: float, factor: float, factor_sd: float) -> tuple[np.ndarray, float]:
    """Mass and rate at a day if the change was by this factor, and the log-likelihood of the weighings."""
    size = CHARGE_KG / run.true_empty_day(0.0)
    events = [(day, 1, value, cylinder) for day, value, cylinder in run.until(at)]
    events += [(run.step_day, 0, factor, 0)] if run.step_day <= at else []
    state, covariance = np.array([CHARGE_KG, size]), np.diag([1e4, 1.0])
    identity, read = np.eye(2), np.array([1.0, 0.0])
    clock, current, fit = min(event[0] for event in events), 0, 0.0
    for day, kind, value, cylinder in sorted([*events, (at, 2, 0.0, -1)]):
        gap, clock = day - clock, day
        move = np.array([[1.0, -gap], [0.0, 1.0]])
        wander = (run.walk * size) ** 2 * np.array([[gap**3 / 3, -(gap**2) / 2], [-(gap**2) / 2, gap]])
        state, covariance = move @ state, move @ covariance @ move.T + wander
        if kind == 0:
            turn = np.diag([1.0, value])
            state, covariance, size = turn @ state, turn @ covariance @ turn, size * value
            covariance[1, 1] += (factor_sd * state[1]) ** 2
        elif kind == 1:
            if cylinder != current:
                state[0], covariance[0, :], covariance[:, 0] = value, 0.0, 0.0
                covariance[0, 0], current = 1e4, cylinder
            total = read @ covariance @ read + SCALE_SD_KG**2
            off, gain = value - state[0], covariance @ read / total
            fit -= 0.5 * (np.log(total) + off**2 / total)
            keep = identity - np.outer(gain, read)
            state = state + gain * off
            covariance = keep @ covariance @ keep.T + np.outer(gain, gain) * SCALE_SD_KG**2
    return state, float(fit)
