"""How often the bands of a projection hold the truth, on simulated systems whose keeper turns the reactor.

    python tests/studies/projected_truth.py [--seeds 0-199]

A calcium reactor at constant gas runs for sixty days; then the keeper turns drip and gas by one factor, which the
projection is told, together with the water change to come. It sees what had been recorded by then and nothing later,
and takes volume, drip, effluent, kits and probes for as good as practice has them, not as they are. One line a
quantity: the share of days 1 to 14 on which the 95 % band holds the simulated water, +- its standard error clustered
by run, and the mean half-width of the band on the last of them.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from recorded_history import history_until, water_until

from service.computations.consumption.answer import SCALES
from service.computations.consumption.gather import Gathered
from service.computations.consumption.inputs import Inputs
from service.computations.consumption.reactor_calcium import calcium_of_drip, together
from service.computations.output_balance.changes import ReactorHistory
from service.computations.output_balance.gather import ReactorRecords
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Chamber, Fed, Gas, Others
from service.computations.output_balance.situation import Situation as Output
from service.computations.output_balance.waters import Water
from service.computations.projection.course import LOOKS_DAYS, QUANTITY, courses, now_of
from service.computations.projection.minerals import minerals
from service.computations.projection.models import ProjectionSent
from service.computations.projection.ph import ph_course
from service.computations.projection.plan import Reactor, reactor_ahead
from service.computations.projection.situation import Situation
from service.computations.projection.steps import as_sent, steps_of
from service.computations.run_away.situation import UNKNOWN_EXCHANGE
from service.computations.timeframe import Clock, Volume
from service.resources.equipment.feeds.models import Feed
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.systems.models import System
from service.resources.records.queries import Course, Origins
from service.science.answer import ConsumptionEstimate
from service.science.consumption import estimate_consumption
from service.science.history import Readings, SystemHistory
from service.science.reactor_output import Mode
from service.simulation import Reading, Recorded, Scenario, SimulatedSystem, load_scenario, simulate_many
from service.simulation.scenario import Keeping
from service.storage.types import microseconds

TURNED, DAYS = 60.5, 14
"""The day on which the keeper turns the reactor, and for how many after it is looked ahead."""
CLOCK = Clock(datetime(2026, 1, 5, tzinfo=UTC))
SITE, SYSTEM, REACTOR = (UUID(int=number) for number in (1, 2, 3))
CHANGE = {"volume": {"value": 100, "unit": "L"}, "alkalinity": {"value": 2.6, "unit": "meq/L"},
          "calcium": {"value": 430, "unit": "mg/L"}, "after_days": 6.1}  # fmt: skip
TIMED_DRIP, EFFLUENT_KIT, TANK_PH_SD, CHAMBER_PH_SD = 0.10, 0.03, 0.05, 0.10

PROBES = {"ph": TANK_PH_SD / 8.1, "effluent_ph": CHAMBER_PH_SD / 6.6}
"""What all readings of a probe share: those of the scenario are better than the service may take them for."""


def scenario() -> Scenario:
    """A sound reactor that is re-set every twenty days towards more alkalinity than there is."""
    known = load_scenario("findings/nothing_wrong")
    system = known.system[0]
    assert system.reactor is not None
    reactor = replace(
        system.reactor,
        clogging=None,
        cylinder=None,
        keeping=Keeping(target_meq_l=3.3, every_days=20, horizon_days=3, largest_step=0.3),
    )
    corals = replace(system.corals, step=())
    tests = tuple(
        replace(each, systematic_relative=PROBES.get(each.quantity, each.systematic_relative))
        for each in system.test
        if each.quantity != "cylinder_gross_mass"
    )
    return replace(known, days=int(TURNED) + DAYS + 2, system=(replace(
        system, reactor=reactor, corals=corals, dose=(), test=tests
    ),))  # fmt: skip


@dataclass(frozen=True)
class Seen:
    """One run up to the turn: its histories, and by what factor drip and gas are turned then."""

    run: SimulatedSystem
    alkalinity: SystemHistory
    calcium: SystemHistory
    factor: float


def seen(run: SimulatedSystem) -> Seen:
    """What was on record when the keeper turned the reactor."""
    recorded, until = run.recorded, TURNED - 1e-3
    settings = [each for each in recorded.set_points if each.code == "effluent_flow" and each.at <= TURNED]
    assert settings[-1].at == TURNED
    salt = water_until(recorded, until, "calcium")
    reactor = calcium_of_drip(
        CLOCK,
        Volume((CLOCK.origin,), (recorded.water_volume_l,), 0.05),
        Feed(reactor_id=REACTOR, system_id=SYSTEM, share=1.0, from_at=CLOCK.origin),
        *(_course(_read(recorded, name)) for name in ("effluent_flow", "effluent_alkalinity", "alkalinity")),
        CLOCK.at(TURNED),
    )
    assert reactor is not None
    return Seen(
        run,
        history_until(recorded, until),
        replace(salt, doses=together([salt.doses, reactor])),
        settings[-1].value / settings[-2].value,
    )


def _read(recorded: Recorded, quantity: str) -> list[Reading]:
    return [each for each in recorded.of(quantity) if each.taken_at <= TURNED]


def _course(readings: Sequence[Reading]) -> Course:
    count = len(readings)
    return Course(
        at_us=np.array([microseconds(CLOCK.at(each.taken_at)) for each in readings], dtype=np.int64),
        value=np.array([each.value for each in readings]),
        sd=np.array([each.sd for each in readings]),
        replicate_group=np.arange(count),
        lot=np.zeros(count, dtype=np.int64),
        origin=Origins([UUID(int=index).bytes for index in range(count)]),
        is_mean=np.zeros(count, dtype=np.bool_),
    )


def looked_ahead(every: Sequence[SystemHistory], quantity: str) -> list[list[ConsumptionEstimate]]:
    """The looks of all runs in one call: as `course.looks` of each."""
    count = len(LOOKS_DAYS)
    found = estimate_consumption(
        histories=[history for history in every for _ in range(count)],
        at_days=np.tile(TURNED + LOOKS_DAYS, len(every)),
        scale=SCALES[quantity],
    )
    return [found[index : index + count] for index in range(0, len(found), count)]


def situation(one: Seen, now: ConsumptionEstimate, sent: ProjectionSent) -> Situation:
    """What the service would have gathered."""
    recorded = one.run.recorded
    system = System(id=SYSTEM, site_id=SITE, tag="s", name="s", described_at=CLOCK.origin)
    water = _water(system, recorded, now)
    return Situation(
        system=system,
        at=CLOCK.at(TURNED),
        gathered=_gathered(system, one.alkalinity),
        water=water,
        reactors=[_reactor(recorded, water, sent)],
        exchange=UNKNOWN_EXCHANGE,
        minerals={
            "calcium": _gathered(system, one.calcium),
            "magnesium": _gathered(system, SystemHistory(readings=Readings())),
        },
    )


def _gathered(system: System, history: SystemHistory) -> Gathered:
    return Gathered(system, CLOCK, history, _course([]), Inputs())


def _water(system: System, recorded: Recorded, now: ConsumptionEstimate) -> Water:
    assert now.expected is not None
    ph = [each.value for each in _read(recorded, "ph")[-4:]]
    return Water(
        system=system,
        volume_l=recorded.water_volume_l,
        alkalinity=Number(now.expected.value, now.expected.sd),
        demand=None,
        ph=Number(float(np.mean(ph)), TANK_PH_SD),
        temperature_c=25.0,
        salinity=35.0,
        others=Others(),
    )


def _reactor(recorded: Recorded, water: Water, sent: ProjectionSent) -> Reactor:
    flow, alkalinity, ph = (_read(recorded, f"effluent_{name}")[-1].value for name in ("flow", "alkalinity", "ph"))
    fed = Fed(1.0, SYSTEM, water.alkalinity, water.ph, 25.0, 35.0, 1.0, water.volume_l, None)
    output = Output(
        chamber=Chamber(
            Number(flow, TIMED_DRIP * flow), Number(alkalinity, EFFLUENT_KIT * alkalinity), Number(ph, CHAMBER_PH_SD)
        ),
        fed=(fed,),
        gas=Gas(),
        mode=Mode.GAS_LIMITED,
    )
    piece = Equipment(
        id=REACTOR, site_id=SITE, tag="r", kind="calcium_reactor", specification={}, state="in_service",
        described_at=CLOCK.origin,
    )  # fmt: skip
    history = ReactorHistory(REACTOR, CLOCK, {}, (), (), (), holds_ph=False)
    records = ReactorRecords(piece, CLOCK.at(TURNED), output, {}, {}, True, True, history)
    (plan,) = sent.reactors
    flow_plan = plan.flow
    assert flow_plan is not None
    turned = plan.model_copy(update={"flow": flow_plan.model_copy(update={"value": flow * flow_plan.value})})
    return reactor_ahead(records, SYSTEM, turned)


def plan_of(factor: float) -> ProjectionSent:
    """Drip and gas by a factor, and the water change. The drip is sent as that factor: it is set from what it is."""
    reactor = {"reactor_id": str(REACTOR), "flow": {"value": factor, "unit": "L/d"}, "gas_factor": factor}
    return ProjectionSent.model_validate({"days": DAYS, "reactors": [reactor], "water_changes": [CHANGE], "stages": 1})


@dataclass(frozen=True)
class Held:
    """Of one quantity: which days' truth lay in the band (runs, days), the bands' half-widths, and where in them."""

    inside: np.ndarray
    half: np.ndarray
    score: np.ndarray

    def line(self, name: str) -> str:
        """In words."""
        of_run = self.inside.mean(axis=1)
        error = of_run.std() / np.sqrt(len(of_run))
        return (
            f"{name:12s} {len(of_run):4d} runs  cover {of_run.mean():.3f} +- {error:.3f}  "
            f"half-width {self.half[:, -1].mean():.3f}  sd of the score {self.score.std():.2f}"
        )


def study(seeds: Sequence[int], *, is_told: bool = True) -> dict[str, Held]:
    """Every run's bands against its truth. is_told: whether the projection knows what the keeper turns."""
    every = [seen(site.systems[0]) for site in simulate_many(scenario(), seeds)]
    of_level = looked_ahead([each.alkalinity for each in every], QUANTITY)
    found: dict[str, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = {
        name: [] for name in (QUANTITY, "calcium", "ph")
    }
    for one, estimates in zip(every, of_level, strict=True):
        sent = plan_of(one.factor if is_told else 1.0)
        known = situation(one, estimates[0], sent)
        now = now_of(known, estimates)
        steps = steps_of(as_sent(sent, known.reactors, known.water.volume_l), 1)
        level, calcium = courses(known, sent, now, steps, DAYS), minerals(known, sent, now, steps)[0]["calcium"]
        ph = ph_course(known, steps, level.planned, level.moved)
        assert calcium is not None
        bands = {
            QUANTITY: (level.planned.value, level.planned.low, level.planned.high),
            "calcium": (calcium.planned.value, calcium.planned.low, calcium.planned.high),
        }
        if ph is not None:  # a chamber probe that is off by much shows no gas, and the service tells no pH
            bands["ph"] = (ph.mean(), *ph.interval())
        for name, (value, low, high) in bands.items():
            truth, half = true_days(one.run, name), 0.5 * (high - low)
            inside = (low < truth) & (truth < high)
            found[name].append((inside[1:], half[1:], (1.96 * (truth - value) / half)[1:]))
    return {name: Held(*(np.stack(part) for part in zip(*rows, strict=True))) for name, rows in found.items()}


def true_days(run: SimulatedSystem, name: str) -> np.ndarray:
    """The truth from the turn on, a value a day: of pH at the hour at which it is read, for it goes up with the day."""
    hours = np.round((TURNED + np.arange(DAYS + 1)) * 24).astype(int)
    if name == "ph":
        read = np.mean([each.taken_at % 1.0 for each in _read(run.recorded, name)[-4:]])
        hours += round((float(read) - TURNED % 1.0) * 24)
    return np.asarray(getattr(run.truth, name)[hours])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="0-199")
    first, last = map(int, parser.parse_args().seeds.split("-"))
    for quantity, held in study(range(first, last + 1)).items():
        print(held.line(quantity))
