"""How soon what goes wrong is named, and how often something is named that is not so, on simulated systems.

    python tests/studies/findings.py [--seeds 0-299] [--scenario NAME ...] [--every DAYS]

Every few days of a run, and when a check standard was read (or, for an addition, the water was tested), the service's
own rules see what had been recorded by then: a slowing drip and media that give less (output balance), a leak (gas
forecast), gas that the chemistry does not show (gas check), what the effluent says of its ceiling, jumps of the level
and reagent lots that read wrong (consumption). Seeds 0-299 judge; rules are tuned on 10000 and above. The scenarios
(shared/scenario/findings) were written before the rules.

One line a scenario: the share of runs in which the fault was named by one of its own findings within the promised days,
and what else was named: findings a system-year that no fault of the run explains (a finding that stays counts once, one
that comes back after a fortnight again). Bars: 80 % where a promise is made, 0.3 false a system-year over all runs.
Ends with 1 when one is missed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast
from uuid import UUID, uuid5

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from recorded_history import history_until, water_until

from service.computations.consumption.answer import undiluted
from service.computations.consumption.gather import Gathered
from service.computations.consumption.inputs import Inputs
from service.computations.consumption.kit import lot_in_use
from service.computations.consumption.shifts import named_shifts
from service.computations.consumption.water import Beside, nitrate_parts, water_findings
from service.computations.gas_forecast.gather import LineRecords
from service.computations.gas_forecast.leak import leak
from service.computations.output_balance.answer import answered
from service.computations.output_balance.changes import ReactorHistory, changes
from service.computations.output_balance.gather import WATCHED_SCORE
from service.computations.output_balance.numbers import Number, Z
from service.computations.output_balance.routes import seen_with
from service.computations.output_balance.situation import Chamber, Fed, Gas, Others, Situation
from service.computations.timeframe import Clock
from service.resources.equipment.gas_lines.models import GasLine
from service.resources.places.set_points.models import SetPoint
from service.resources.places.systems.models import System
from service.resources.records.check_standards import StandardRead
from service.resources.records.queries import Course, Origins
from service.science.answer import ConsumptionEstimate
from service.science.consumption import estimate_consumption
from service.science.cylinder_life import Levels, forecast_cylinder_life
from service.science.dilution import dilution
from service.science.gas_line import Cylinder, GasLineHistory, Weighing
from service.science.history import Doses, SystemHistory
from service.science.reactor_output import Mode
from service.science.water_course import SALINITY, water_courses
from service.simulation import Reading, Recorded, SimulatedSystem, load_scenario, scenario_names, simulate_many

START = datetime(2026, 1, 1, tzinfo=UTC)
CLOCK = Clock(START)
NAMES = UUID("6f2a5a1e-6c1f-4f0e-9a52-0d4f6f1c7a10")
FIRST_DAY, FORGOTTEN_AFTER = 30.0, 14.0
RUNS_AT_ONCE = 25
WATCHED_DAYS = 84.0
SHIFT_DAYS = 30.0
"""So long a fall is asked whether calcium fell too: it is read more seldom."""

PROMISED: dict[str, tuple[float, frozenset[str]]] = {
    "gas_leak": (28.0, frozenset({"gas_leak"})),
    "drip_loss": (14.0, frozenset({"slowing_drip"})),
    "drip_loss_held_ph": (14.0, frozenset({"slowing_drip"})),
    "unrecorded_addition": (6.0, frozenset({"level_shift"})),
    "kit_drift": (28.0, frozenset({"kit_off"})),
    "media_spent": (21.0, frozenset({"media_give_less"})),
}
"""What is promised: within how many days, by which findings. Two tests of the water are six days at most."""

TOLD_BY_THE_NEXT_TESTS = frozenset({"unrecorded_addition"})
"""Looked at when the water was tested, too."""

SHORTAGES = frozenset({"gas_limited", "drip_limited", "media_limited"})
"""True whenever supply truly falls short, fault or not: corals grow, keepers follow."""
TRULY_SHORT = 0.97

EXPLAINED: dict[str, frozenset[str]] = {
    "gas leak": frozenset({"gas_leak", "gas_missing"}),
    "gas vented": frozenset({"gas_missing", "media_give_less", "gas_leak", "above_ceiling", "gas_limited"}),
    # slower water nears its ceiling; where the pH is held it brings less, and the drip is what lacks
    "drip loss": frozenset({"slowing_drip", "level_shift", "above_ceiling", "drip_limited"}),
    "media ageing": frozenset({"media_give_less", "far_below_ceiling", "gas_limited", "media_limited"}),
    "gas falls": frozenset({"gas_limited", "level_shift", "above_ceiling"}),
    # a drip that reads less looks slower until the effluent has been tested twice
    "misread": frozenset({"wrong_flow", "slowing_drip"}),
    "kit drift": frozenset({"kit_off", "level_shift"}),
    "instrument off": frozenset({"kit_off", "salinity_drifts", "salinity_off"}),
    "degassed samples": frozenset({"degassed_sample", "gas_missing", "above_ceiling"}),
    "top-off standstill": frozenset({"level_shift", "salinity_drifts", "salinity_off"}),
    "unrecorded addition": frozenset({"level_shift"}),
    "unrecorded demand step": frozenset({"level_shift", "gas_limited", "drip_limited"}),
    "salt lost": frozenset({"salinity_drifts", "salinity_off"}),
    "more food": frozenset({"nitrate_takes_alkalinity"}),
    "precipitation": frozenset({"precipitation", "level_shift"}),
}
"""Findings that a fault brings about and that are therefore not false once it has begun."""


@dataclass
class Run:
    """What was named in one run: (day, code) at each look, and its jumps (day, day of the jump)."""

    faults: Sequence[Any]
    days: float
    seen: list[tuple[float, str]] = field(default_factory=list)
    short: set[float] = field(default_factory=set)
    """Looks at which the reactor truly brought less than was asked of it."""

    def episodes(self) -> Iterator[tuple[float, str]]:
        """Each finding when it was first named, and again when it comes back after a fortnight."""
        last: dict[str, float] = {}
        for day, code in sorted(self.seen):
            if day - last.get(code, -np.inf) > FORGOTTEN_AFTER:
                yield day, code
            last[code] = day

    def named_within(self, days: float, codes: frozenset[str]) -> bool:
        """Whether one of these was named, not before the fault and soon enough after it."""
        fault = self.faults[0]
        return any(code in codes and fault.at <= day <= fault.at + days for day, code in self.seen)

    def false(self) -> list[str]:
        """What was named without a cause."""
        explained = [(fault.at, EXPLAINED.get(fault.what, frozenset())) for fault in self.faults]
        return [
            code
            for day, code in self.episodes()
            if not any(begun <= day and code in codes for begun, codes in explained)
            and not (code in SHORTAGES and day in self.short)
        ]


def course(readings: Iterable[Reading], until: float) -> Course:
    """Readings up to a day as the service's computations see them."""
    rows = [row for row in readings if row.taken_at <= until and row.purpose == "sample"]
    return Course(
        at_us=np.array([int((START.timestamp() + 86_400 * row.taken_at) * 1e6) for row in rows], dtype=np.int64),
        value=np.array([row.value for row in rows]),
        sd=np.array([max(row.sd, 1e-6) for row in rows]),
        replicate_group=np.full(len(rows), -1),
        lot=np.zeros(len(rows), dtype=np.int64),
        origin=Origins([NAMES] * len(rows)),
        is_mean=np.zeros(len(rows), dtype=np.bool_),
    )


class Watched:
    """One simulated system, asked at instants what the service would name."""

    def __init__(self, scenario: str, system: SimulatedSystem) -> None:
        self.spec = load_scenario(f"findings/{scenario}").system[0]
        self.system, self.recorded = system, system.recorded
        self.reactor = self.spec.reactor

    def balance(self, day: float, estimate: ConsumptionEstimate) -> list[str]:
        """What the output balance and the gas forecast name, the demand being what was estimated for the day."""
        if self.reactor is None:
            return []
        history, line = self.history(day), self.line(day)
        remarks = [*changes(history), *(leak(line) if line else [])]
        answer = answered(seen_with(self.situation(day, history, line, estimate), history, remarks))
        remarks += [*answer["findings"], *([answer["gas_check"]["finding"]] if answer["gas_check"]["finding"] else [])]
        return [str(each["code"]) for each in remarks]

    def history(self, day: float) -> ReactorHistory:
        """The reactor's checks up to a day."""
        assert self.reactor is not None
        codes = ("effluent_flow", "effluent_alkalinity", "effluent_ph", "bubble_rate")
        settings = [
            SimpleNamespace(at=CLOCK.at(each.at), value=each.value)
            for each in self.recorded.set_points
            if each.code == "effluent_flow" and each.at <= day
        ]
        refills = [day_ for day_ in self.reactor.refill_days if day_ <= day]
        return ReactorHistory(
            reactor_id=NAMES,
            clock=CLOCK,
            courses={code: course(self.recorded.of(code), day) for code in codes},
            tanks=[(1.0, course(self.recorded.of("alkalinity"), day))],
            drip_settings=cast(Sequence[SetPoint], settings),
            filled_at=[CLOCK.at(each) for each in refills],
            holds_ph=self.reactor.mode == "ph_controlled",
        )

    def line(self, day: float) -> LineRecords | None:
        """The weighings up to a day, and the bubbles beside them."""
        assert self.reactor is not None
        cylinder = self.reactor.cylinder
        if cylinder is None:
            return None
        swaps = [each for each in cylinder.swap_days if each <= day]
        weighed = [row for row in self.recorded.of("cylinder_gross_mass") if row.taken_at <= day]
        history = GasLineHistory(
            cylinders=tuple(Cylinder(from_days=each) for each in (0.0, *swaps)),
            weighings=tuple(
                Weighing(
                    at_days=row.taken_at,
                    net_kg=row.value - cylinder.tare_kg,
                    cylinder=sum(each <= row.taken_at for each in swaps),
                    sd_kg=row.sd,
                )
                for row in weighed
            ),
        )
        line = cast(GasLine, SimpleNamespace(id=NAMES))
        bubbles = (course(self.recorded.of("bubble_rate"), day),)
        return LineRecords(line, CLOCK, history, None, bubbles=bubbles)

    def situation(
        self, day: float, history: ReactorHistory, line: LineRecords | None, estimate: ConsumptionEstimate
    ) -> Situation:
        """The last checks, as the balance takes them."""
        assert self.reactor is not None

        def last(quantity: str, lasting: float = 0.0) -> Number | None:
            rows = [row for row in self.recorded.of(quantity) if row.taken_at <= day]
            return Number(rows[-1].value, float(np.hypot(rows[-1].sd, lasting * rows[-1].value))) if rows else None

        ph = [row.value for row in self.recorded.of("ph") if day - 7 <= row.taken_at <= day]
        effluent_ph = last("effluent_ph")
        use = None
        if line is not None and line.history is not None:
            found = forecast_cylinder_life(histories=[line.history], at_days=[day], levels=[Levels()])[0].use_g_d
            use = None if found is None else Number(found.value, (found.high - found.low) / (2 * Z))
        salinity, celsius = last("salinity"), last("temperature")
        return Situation(
            chamber=Chamber(
                flow=last("effluent_flow", 0.10),
                alkalinity=last("effluent_alkalinity", 0.03),
                ph=effluent_ph and Number(effluent_ph.value, 0.1),
            ),
            fed=(
                Fed(
                    share=1.0,
                    system_id=None,
                    alkalinity=last("alkalinity"),
                    ph=Number(float(np.mean(ph)), 0.05) if ph else None,
                    temperature_c=celsius.value if celsius else 25.0,
                    salinity=salinity.value if salinity else 35.0,
                    boron_factor=1.0,
                    volume_l=self.recorded.water_volume_l,
                    demand=self.demand(estimate),
                    others=self.others(day),
                    demand_knows_reactor=True,
                ),
            ),
            gas=Gas(by_weighing=use, significant_score=WATCHED_SCORE),
            mode=Mode.PH_CONTROLLED if history.holds_ph else Mode.GAS_LIMITED,
        )

    def demand(self, estimate: ConsumptionEstimate) -> Number | None:
        """What the system takes, meq/d, as the balance is handed it."""
        if estimate.value is None or estimate.low is None or estimate.high is None:
            return None
        rate = Number(estimate.value, (estimate.high - estimate.low) / (2 * Z))
        return rate.times(self.recorded.water_volume_l)

    def others(self, day: float) -> Others:
        """What doses and changed water brought a day over the last fortnight."""
        recent = [each for each in self.recorded.additions if day - 14 <= each.start <= day]
        doses = sum(each.amount for each in recent if each.kind == "dose")
        changed = [each for each in recent if each.kind == "water_change" and each.alkalinity_meq_l]
        litres = sum(each.amount for each in changed)
        brought = sum(each.amount * (each.alkalinity_meq_l or 0.0) for each in changed)
        return Others(Number(doses / 14, 0.0), litres / 14, brought / litres if litres else 0.0)

    def is_short(self, day: float) -> bool:
        """Whether the reactor brought less over the last three days than was asked of it, by the truth."""
        if self.reactor is None:
            return False
        truth, last = self.system.truth, slice(round((day - 3) * 24), round(day * 24))
        brought = (truth.drip * (truth.effluent_alkalinity - truth.alkalinity))[last].mean()
        asked = truth.demand[last].mean() * self.system.labels.true_volume_l
        others = self.others(day)
        exchanged = others.exchange_l_d * (others.exchange_alkalinity - truth.alkalinity[last].mean())
        return bool(brought < TRULY_SHORT * (asked - others.supply.value - exchanged))

    def standards(self, day: float) -> list[StandardRead]:
        """The check standards up to a day."""
        return [
            StandardRead(uuid5(NAMES, row.lot or ""), CLOCK.at(row.taken_at), row.value, row.stated or 0.0, row.sd)
            for row in self.recorded.check_standards
            if row.taken_at <= day and row.quantity == "alkalinity"
        ]

    def lots(self, day: float) -> tuple[list[int], list[UUID]]:
        """Number of the lot of each alkalinity reading up to a day, and the lots in the order of the numbers."""
        used = [row.lot or "" for row in self.recorded.of("alkalinity") if row.taken_at <= day]
        names = sorted(set(used))
        return [1 + names.index(lot) for lot in used], [uuid5(NAMES, lot) for lot in names]


def study(name: str, seeds: range, every: float) -> list[Run]:
    """What the service names in every run of a scenario."""
    days = load_scenario(f"findings/{name}").days
    instants = np.arange(FIRST_DAY + 0.4, days, every)
    runs: list[Run] = []
    for first in range(seeds.start, seeds.stop, RUNS_AT_ONCE):
        sites = simulate_many(f"findings/{name}", range(first, min(first + RUNS_AT_ONCE, seeds.stop)))
        watched = [Watched(name, site.systems[0]) for site in sites]
        runs += [_watch(each, days, looks(name, each.recorded, instants)) for each in watched]
    return runs


def looks(name: str, recorded: Recorded, instants: np.ndarray) -> np.ndarray:
    """Every few days, and when something was entered that is looked at at once: a check standard, or a test."""
    entered = [row.taken_at for row in recorded.check_standards]
    if name in TOLD_BY_THE_NEXT_TESTS:
        entered += [row.taken_at for row in recorded.of("alkalinity")]
    return np.union1d(instants, [day for day in entered if instants[0] <= day <= instants[-1]])


def _watch(watched: Watched, days: float, instants: np.ndarray) -> Run:
    run = Run(watched.system.labels.faults, days - FIRST_DAY)
    histories = [_with_lots(history_until(watched.recorded, day), watched.lots(day)[0]) for day in instants]
    gathered = waters(watched.recorded, instants, histories)
    estimates = estimate_consumption(histories=[undiluted(each) for each in gathered], at_days=instants)
    for day, alkalinity, estimate in zip(instants, gathered, estimates, strict=True):
        run.seen += [(float(day), code) for code in of_water(watched.recorded, float(day), alkalinity, estimate)]
        run.seen += [(float(day), code) for code in watched.balance(float(day), estimate)]
        shifts = named_shifts(alkalinity.history, estimate)
        run.seen += [(float(day), "level_shift") for each in shifts if day - each.at_days <= 7.0]
        if watched.is_short(float(day)):
            run.short.add(float(day))
        if lot_in_use(estimate, *watched.lots(day), watched.standards(day)):
            run.seen.append((float(day), "kit_off"))
    return run


def waters(recorded: Recorded, instants: np.ndarray, histories: Sequence[SystemHistory]) -> list[Gathered]:
    """The alkalinity of a system at each instant with the course of its salinity, as the service gathers them."""
    weeks = [np.arange(day - WATCHED_DAYS, day + 0.1, 7.0) for day in instants]
    salinity = water_courses(
        histories=[water_until(recorded, day, "salinity") for day in instants], at_days=weeks, pace=SALINITY
    )
    found = []
    for day, history, course_of_salt in zip(instants, histories, salinity, strict=True):
        each = gathered_of("alkalinity", recorded, float(day), history)
        if course_of_salt is not None:
            diluted = dilution(course=course_of_salt, level=each.usual_level, salt=Doses())
            each = replace(each, salinity=course_of_salt, diluted=diluted)
        found.append(each)
    return found


def gathered_of(quantity: str, recorded: Recorded, day: float, history: SystemHistory) -> Gathered:
    """A history beside its readings, as the service gathers it."""
    system = cast(System, SimpleNamespace(id=NAMES))
    return Gathered(system, CLOCK, history, course(recorded.of(quantity), day), Inputs())


def of_water(recorded: Recorded, day: float, alkalinity: Gathered, estimate: ConsumptionEstimate) -> list[str]:
    """What nitrate, salinity and calcium say; of a jump, in the month after it."""
    calcium, nitrate = (
        gathered_of(quantity, recorded, day, water_until(recorded, day, quantity))
        for quantity in ("calcium", "nitrate")
    )
    part = nitrate_parts({NAMES: nitrate}, day)[NAMES]
    recent = replace(estimate, level_shifts=tuple(s for s in estimate.level_shifts if day - s.at_days <= SHIFT_DAYS))
    beside = Beside(alkalinity, recent, calcium, part)
    return [str(each["code"]) for each in water_findings(alkalinity, beside)]


def _with_lots(history: Any, lots: Sequence[int]) -> Any:
    history.readings.lot[:] = lots
    return history


@dataclass(frozen=True)
class Figures:
    """The line of a scenario: share found (None without a promise), false findings and years, and which they were."""

    found: float | None
    false: int
    years: float
    which: dict[str, int]
    own: dict[str, int]


def figures(name: str, runs: Sequence[Run]) -> Figures:
    """What a scenario came to."""
    promise = PROMISED.get(name)
    which: dict[str, int] = {}
    own: dict[str, int] = {}
    for run in runs:
        for code in run.false():
            which[code] = which.get(code, 0) + 1
        for code in {code for day, code in run.seen if run.faults and day >= run.faults[0].at}:
            own[code] = own.get(code, 0) + 1
    found = None if promise is None else float(np.mean([run.named_within(*promise) for run in runs]))
    return Figures(found, sum(which.values()), sum(run.days for run in runs) / 365.25, which, own)


def main() -> int:
    """Run the study and print its table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seeds", default="0-299")
    parser.add_argument("--scenario", nargs="*")
    parser.add_argument("--every", type=float, default=3.5)
    asked = parser.parse_args()
    first, last = (int(end) for end in asked.seeds.split("-"))
    names = asked.scenario or [
        each.removeprefix("findings/") for each in scenario_names() if each.startswith("findings/")
    ]
    misses, false, years = [], 0, 0.0
    begun = time.perf_counter()
    for name in names:
        found = figures(name, study(name, range(first, last + 1), asked.every))
        false, years = false + found.false, years + found.years
        share = "  -  " if found.found is None else f"{found.found:5.3f}"
        own = ", ".join(f"{code} {count}" for code, count in sorted(found.own.items()))
        which = ", ".join(f"{code} {count}" for code, count in sorted(found.which.items())) or "none"
        print(
            f"{name:26s} found {share}  false/year {found.false / found.years:5.3f} ({which})  after the fault: {own}",
            flush=True,
        )
        if found.found is not None and found.found < 0.80:
            misses.append(f"{name}: found {found.found:.3f}, wanted 0.80")
    print(f"all: {false / years:.3f} false a system-year; {time.perf_counter() - begun:.0f} s")
    if false / years > 0.3:
        misses.append(f"false findings {false / years:.3f} a system-year, wanted 0.3")
    print("\n".join(misses) or "every bar holds")
    return 1 if misses else 0


if __name__ == "__main__":
    raise SystemExit(main())
