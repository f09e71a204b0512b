"""How well the empty date of a cylinder is forecast, on made-up gas lines (gas_line_runs.py says how they are made).

    python tests/studies/cylinder_life.py [--seeds 0-299]

The estimator is told the weighings, the swap and the recorded change of flow, and nothing of how fast the rate of a run
wanders. Scenarios: the change recorded with its size, or its moment alone; two more, not judged, where the rate wanders
far less or far more than the estimator's prior has it. Seeds 0-299 judge; whatever is tuned is tuned on 10000 and
above. One line a scenario and kind of instant:

    asked      how many forecasts
    rmse       root mean square error of the empty date, days, and over that of the oracle
    cover      share of 95 % intervals that hold the true date, +- its standard error clustered by run
    low, high  share of true dates before and after the interval
    width      median width over days left, of the bounded ones
    open       share without a last day (counted in cover); none: share without any date

Bars over all instants of the judged scenarios: rmse <= 1.2 of the oracle's, cover 0.93 to 0.97 (+- 2 standard errors).
Ends with 1 when one is missed.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from studies.gas_line_runs import NOTED_SD, SCALE_SD_KG, TARE_SD_KG, Run, instants_of, oracle_empty_day, run_of

from service.science.cylinder_life import CylinderForecast, Levels, forecast_cylinder_life
from service.science.gas_line import Cylinder, FlowChange, GasLineHistory, Weighing

JUDGED = {"size recorded": {"is_size_noted": True}, "moment alone": {"is_size_noted": False}}
OTHERS = {"steady, 0.1 %": {"walk": 0.001}, "restless, 1.5 %": {"walk": 0.015}}
LARGEST_RATIO = 1.2
COVER = (0.93, 0.97)


def history_until(run: Run, at: float) -> GasLineHistory:
    """What had been recorded of a run by a day."""
    cylinders = [
        Cylinder(from_days=0.0, tare_sd_kg=TARE_SD_KG),
        Cylinder(from_days=run.swap_day, tare_sd_kg=TARE_SD_KG),
    ]
    return GasLineHistory(
        cylinders=tuple(cylinders[: run.cylinder_at(at) + 1]),
        weighings=tuple(
            Weighing(at_days=day, net_kg=value, cylinder=cylinder, sd_kg=SCALE_SD_KG)
            for day, value, cylinder in run.until(at)
        ),
        flow_changes=(_noted(run),),
    )


def _noted(run: Run) -> FlowChange:
    if run.noted_ratio is None:
        return FlowChange(at_days=run.step_day)
    return FlowChange(at_days=run.step_day, ratio=run.noted_ratio, relative_sd=NOTED_SD)


@dataclass
class Outcome:
    """One row a forecast: the run, the day asked, the true day, what was answered, the oracle's day."""

    run: np.ndarray
    asked: np.ndarray
    after_swap: np.ndarray
    since_step: np.ndarray
    truth: np.ndarray
    value: np.ndarray
    low: np.ndarray
    high: np.ndarray
    oracle: np.ndarray

    def take(self, rows: np.ndarray) -> "Outcome":
        """Some of the rows."""
        return Outcome(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def study(seeds: Sequence[int], **scenario: float | bool) -> Outcome:
    """Every forecast of every run of a scenario, all in one call."""
    runs = [(seed, run_of(seed, **scenario)) for seed in seeds]
    asked = [(seed, run, at) for seed, run in runs for at in instants_of(run)]
    forecasts = forecast_cylinder_life(
        histories=[history_until(run, at) for _, run, at in asked],
        at_days=[at for _, _, at in asked],
        levels=[Levels()] * len(asked),
    )

    def days(name: str) -> np.ndarray:
        return np.array([_day(each, name) for each in forecasts])

    return Outcome(
        run=np.array([seed for seed, _, _ in asked]),
        asked=np.array([at for _, _, at in asked]),
        after_swap=np.array([run.cylinder_at(at) for _, run, at in asked]),
        since_step=np.array([at - run.step_day for _, run, at in asked]),
        truth=np.array([run.true_empty_day(at) for _, run, at in asked]),
        value=days("value"),
        low=days("low"),
        high=days("high"),
        oracle=np.array([oracle_empty_day(run, at) for _, run, at in asked]),
    )


def _day(forecast: CylinderForecast, name: str) -> float:
    found = None if forecast.empty is None else getattr(forecast.empty, name)
    return np.inf if found is None else found


@dataclass(frozen=True)
class Figures:
    """What is judged."""

    asked: int
    rmse: float
    over_oracle: float
    cover: float
    cover_se: float
    early: float
    late: float
    width: float
    open: float
    none: float

    def misses(self) -> list[str]:
        """The bars that are missed, in words."""
        slack = 2.0 * self.cover_se
        checks = (
            (self.over_oracle <= LARGEST_RATIO, f"rmse {self.over_oracle:.2f} of the oracle above {LARGEST_RATIO}"),
            (self.cover >= COVER[0] - slack, f"cover {self.cover:.3f} below {COVER[0]}"),
            (self.cover <= COVER[1] + slack, f"cover {self.cover:.3f} above {COVER[1]}"),
        )
        return [words for holds, words in checks if not holds]


def figures(outcome: Outcome) -> Figures:
    """The figures of some rows; the standard error of the coverage clustered by run."""
    early, late = outcome.truth < outcome.low, outcome.truth > outcome.high
    inside = ~early & ~late
    of_run = np.array([inside[outcome.run == run].sum() for run in np.unique(outcome.run)])
    size = np.array([np.count_nonzero(outcome.run == run) for run in np.unique(outcome.run)])
    share = of_run.sum() / size.sum()
    runs = len(size)
    spread = np.sqrt(((of_run - share * size) ** 2).sum() * runs / max(runs - 1, 1)) / size.sum()
    both = np.isfinite(outcome.value) & np.isfinite(outcome.oracle)
    error, oracle = (_rms((each - outcome.truth)[both]) for each in (outcome.value, outcome.oracle))
    bounded = np.isfinite(outcome.high)
    return Figures(
        asked=len(outcome.truth),
        rmse=error,
        over_oracle=error / oracle,
        cover=float(share),
        cover_se=float(spread),
        early=float(early.mean()),
        late=float(late.mean()),
        width=float(np.median(((outcome.high - outcome.low) / (outcome.truth - outcome.asked))[bounded])),
        open=float(1.0 - bounded.mean()),
        none=float(1.0 - np.isfinite(outcome.value).mean()),
    )


def kinds_of(outcome: Outcome) -> dict[str, np.ndarray]:
    """Which rows are of which kind of instant."""
    first, soon = outcome.after_swap == 0, outcome.since_step <= 15.0
    return {
        "<= 15 d after the change": first & soon,
        "later, first cylinder": first & ~soon,
        "second cylinder": ~first,
        "all": np.ones(len(first), dtype=bool),
    }


def _rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def main() -> int:
    """Run the command; 1 when a bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", default="0-299", help="first-last, both included")
    first, last = (int(each) for each in parser.parse_args().seeds.split("-"))
    started, missed = time.monotonic(), 0
    print(f"seeds {first}-{last}")
    print(f"{'':46s} {'asked':>6s} {'rmse d':>7s} {'/oracle':>8s} {'cover +- se':>15s} {'low':>6s} {'high':>6s} "
          f"{'width':>6s} {'open':>6s} {'none':>6s}")  # fmt: skip
    for scenario, settings in {**JUDGED, **OTHERS}.items():
        outcome = study(range(first, last + 1), **settings)
        for kind, rows in kinds_of(outcome).items():
            f = figures(outcome.take(rows))
            misses = f.misses() if kind == "all" and scenario in JUDGED else []
            missed += bool(misses)
            print(f"{scenario + ', ' + kind:46s} {f.asked:6d} {f.rmse:7.1f} {f.over_oracle:8.2f} "
                  f"{f.cover:7.3f} +-{f.cover_se:6.3f} {f.early:6.3f} {f.late:6.3f} {f.width:6.2f} {f.open:6.3f} "
                  f"{f.none:6.3f}  {'; '.join(misses)}", flush=True)  # fmt: skip
    print(f"{time.monotonic() - started:.0f} s")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
