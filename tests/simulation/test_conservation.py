"""Mass in = mass out + stored, for every solute, whatever is done to a system.

Boundary: water of system and chamber. Gas exchange, photosynthesis, gas fed, media and skeletons are named terms of the
ledger. The second half ties each term to what the truth says independently of the ledger, and the third widens the
boundary to the media in the chamber and the gas in the cylinder: what they lose is what the water got, what was vented
and what leaked.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.simulation import Fault, SimulatedSystem, simulate, simulate_many
from service.simulation.basin import ALKALINITY, CALCIUM, CARBON, MAGNESIUM, SALT, SOLUTES, Ledger
from service.simulation.engine import run
from service.simulation.faults import Loss, Rate, Standstill
from service.simulation.reactor import Chamber
from service.simulation.scenario import (
    Air,
    Clogging,
    Corals,
    Cylinder,
    Dose,
    Dosing,
    Exchange,
    Reactor,
    Scenario,
    System,
    TopOff,
    Water,
    WaterChange,
)
from service.simulation.scenario import Test as Kit
from service.simulation.streams import Streams

# --- systems put together at random

DAYS = 4


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.one_of(st.none(), strategy)


rate = st.builds(
    Rate,
    between_days=st.just((0.5, 2.0)),
    rate=between(0, 1),
    days=between(0.1, 3),
    over_days=st.sampled_from([0.0, 1.0]),
)
corals = st.builds(
    Corals,
    demand_meq_l_d=between(0, 1),
    drift_relative=between(0, 0.2),
    light_share=between(0, 1),
    saturation_response=between(0, 0.5),
    magnesium_share=between(0, 0.15),
    nitrification_meq_l_d=between(0, 0.05),
    more_food=maybe(rate),
)
air = st.builds(
    Air,
    gas_exchange_per_hour=between(0, 3),
    room_co2_ppm=between(350, 3000),
    photosynthesis_mmol_l_d=between(0, 1),
)
loss = st.builds(
    Loss,
    between_days=st.sampled_from([(0.0, 0.0), (0.5, 2.0)]),
    share=between(0, 0.95),
    over_days=st.sampled_from([0.0, 1.5]),
    until_day=st.sampled_from([3.0, 1e4]),
)
by_hand = st.builds(
    TopOff,
    evaporation_l_d=between(0, 20),
    kind=st.sampled_from(["fresh_water", "limewater"]),
    by_hand_every_days=st.sampled_from([1, 3]),
)
by_itself = st.builds(
    TopOff,
    evaporation_l_d=between(0, 20),
    kind=st.sampled_from(["fresh_water", "limewater"]),
    standstill=maybe(st.builds(Standstill, between_days=st.just((0.5, 2.0)), days=between(0.5, 3))),
    salt_lost=maybe(rate),
)
top_off = st.one_of(by_hand, by_itself)
change = st.builds(WaterChange, first_day=between(0.1, 3), every_days=between(1, 4), volume_l=between(1, 300))
exchange = st.builds(Exchange, litres_per_day=between(0, 300))
dosing = st.builds(Dosing, rate_meq_d=between(0, 600), carbon_per_meq=st.sampled_from([0.5, 1.0]))
reactor = st.builds(
    Reactor,
    chamber_l=between(6, 40),
    drip_l_d=between(5, 120),
    mode=st.sampled_from(["constant_gas", "ph_controlled"]),
    gas_g_d=between(0, 60),
    chamber_ph=between(6.3, 7.0),
    vented_share=between(0, 0.5),
    media_kg=between(0.5, 20),
    media_rate_per_hour=between(0.02, 0.4),
    media_share_at_start=between(0.02, 1),
    refill_days=st.sampled_from([(), (2.3,)]),
    clogging=maybe(st.just(Clogging(clean_every_days=2))),
    leak=maybe(loss),
    venting=maybe(loss),
    drip_loss=maybe(loss),
    media_ageing=maybe(loss),
)
dose = st.builds(Dose, between_days=st.just((0.5, 3.0)), alkalinity_meq_l=between(-0.5, 0.8), recorded=st.booleans())
systems = st.builds(
    System,
    code=st.just("S1"),
    water=st.builds(Water, volume_l=st.just(1000.0), volume_error=st.just(0.05)),
    corals=corals,
    air=air,
    top_off=maybe(top_off),
    water_change=st.lists(change, max_size=2).map(tuple),
    exchange=maybe(exchange),
    dosing=maybe(dosing),
    reactor=maybe(reactor),
    dose=st.lists(dose, max_size=2).map(tuple),
    precipitation=maybe(rate),
)
scenarios = st.builds(Scenario, title=st.just("mix"), days=st.just(DAYS), system=st.tuples(systems))


EVERYTHING = System(
    code="S1",
    water=Water(volume_l=1000, volume_error=0.05),
    corals=Corals(demand_meq_l_d=0.3, nitrification_meq_l_d=0.01),
    top_off=TopOff(evaporation_l_d=12, kind="limewater", standstill=Standstill(between_days=(1.0, 2.0), days=1.0),
        salt_lost=Rate(between_days=(1.0, 2.0), rate=2.0),
    ),
    water_change=(WaterChange(first_day=1.6, every_days=2, volume_l=100),),
    exchange=Exchange(litres_per_day=50),
    dosing=Dosing(rate_meq_d=50),
    reactor=Reactor(
        chamber_l=15, drip_l_d=40, gas_g_d=12, media_kg=12, effluent_alkalinity_meq_l=10.0,
        leak=Loss(between_days=(1.0, 2.0), share=0.3), venting=Loss(between_days=(1.0, 2.0), share=0.3),
        drip_loss=Loss(between_days=(1.0, 2.0), share=0.25), media_ageing=Loss(between_days=(1.0, 2.0), share=0.5),
    ),
    dose=(Dose(between_days=(1.0, 2.0), alkalinity_meq_l=0.5, recorded=False),),
    precipitation=Rate(between_days=(1.0, 2.0), rate=0.5, days=0.5),
)  # fmt: skip


# --- what must hold for each of them

few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def imbalance(system: SimulatedSystem) -> np.ndarray:
    """Return what the ledger cannot account for, as a share of the stock, shape (6)."""
    crossed = sum(system.flows.values(), np.zeros(len(SOLUTES)))
    return np.abs(system.stock_at_end - system.stock_at_start - crossed) / np.abs(system.stock_at_start)


@few
@given(scenario=scenarios, seed=st.integers(10000, 20000))
def test_every_solute_is_accounted_for(scenario: Scenario, seed: int) -> None:
    for site in simulate_many(scenario, [seed, seed + 1]):
        lost = imbalance(site.systems[0])
        assert np.all(lost < 1e-10), dict(zip(SOLUTES, lost, strict=True))
        truth = site.systems[0].truth
        for name in truth.__slots__:
            assert np.all(np.isfinite(getattr(truth, name))), name


@few
@given(scenario=scenarios, seed=st.integers(10000, 20000))
def test_terms_agree_with_the_course(scenario: Scenario, seed: int) -> None:
    system = simulate(scenario, seed).systems[0]
    truth, flows, hour = system.truth, system.flows, 1.0 / 24.0
    spec = scenario.system[0]
    flow_volume = truth.volume  # volume at the start of the hour; people act before the hour's flows
    if not spec.water_change and (spec.top_off is None or not spec.top_off.by_hand_every_days):
        taken = float(np.sum(truth.uptake * flow_volume) * hour)
        booked = -(flows["calcification"] + flows["nitrification"])[ALKALINITY]
        assert booked == pytest.approx(taken, rel=1e-9, abs=1e-9)
    if "dosing" in flows:
        assert flows["dosing"][ALKALINITY] == pytest.approx(float(truth.dosing_rate.sum() * hour), rel=1e-9)
    if "media" in flows and not spec.reactor.refill_days:
        dissolved_mmol = (truth.media[0] * 1e6 - truth.media[-1] * 1e6) / 100.0869  # to the last hour's start
        assert flows["media"][CALCIUM] >= dissolved_mmol - 1e-6
        assert flows["media"][CALCIUM] == pytest.approx(dissolved_mmol, rel=0.2, abs=40)
    if "gas fed" in flows:
        fed_mmol = (truth.gas_used[-1] - truth.gas_vented[-1]) / 44.0095e-3  # to the last hour's start
        assert flows["gas fed"][CARBON] >= fed_mmol - 1e-6


@few
@given(scenario=scenarios, seed=st.integers(10000, 20000))
def test_stoichiometry_of_the_terms(scenario: Scenario, seed: int) -> None:
    """CaCO3: two of alkalinity to one of carbon to one of calcium (and magnesium); CO2 carries no alkalinity."""
    flows = simulate(scenario, seed).systems[0].flows
    skeleton = flows["calcification"]
    assert skeleton[ALKALINITY] == pytest.approx(2.0 * (skeleton[CALCIUM] + skeleton[MAGNESIUM]), abs=1e-9)
    assert skeleton[ALKALINITY] == pytest.approx(2.0 * skeleton[CARBON], abs=1e-9)
    for term in ("gas exchange", "gas fed", "photosynthesis and respiration"):
        for solute in (ALKALINITY, CALCIUM, MAGNESIUM, SALT):
            assert flows.get(term, np.zeros(len(SOLUTES)))[solute] == 0.0
    if "media" in flows:
        assert flows["media"][ALKALINITY] == pytest.approx(2.0 * flows["media"][CALCIUM], rel=1e-12)
        assert flows["media"][ALKALINITY] == pytest.approx(2.0 * flows["media"][CARBON], rel=1e-12)
    # over whole days light takes as much carbon as the night gives back, at a constant volume exactly
    grown, days = flows["photosynthesis and respiration"][CARBON], scenario.days
    amplitude = scenario.system[0].air.photosynthesis_mmol_l_d * 1000.0 * days
    assert abs(grown) <= 0.1 * amplitude + 1e-9


def test_a_leak_in_the_drip_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    honest = Chamber.hour
    monkeypatch.setattr(Chamber, "hour", lambda self, *rest: honest(self, *rest) * 0.99)
    assert imbalance(simulate("consumption/reactor", 10000).systems[0])[ALKALINITY] > 1e-3


def test_each_term_is_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A ledger that forgets any one term no longer closes, whichever it is."""
    scenario = Scenario(title="all of it", days=DAYS, system=(EVERYTHING,))
    terms = set(simulate(scenario, 10000).systems[0].flows)
    assert terms == {
        "calcification", "nitrification", "photosynthesis and respiration", "gas exchange", "gas fed", "media",
        "dosing", "dose 0", "exchange", "precipitation", "top-off", "water change in", "water change out", "water lost",
    }  # fmt: skip
    honest = Ledger.book
    for forgotten in sorted(terms):

        def book(self: Ledger, term: str, amounts: np.ndarray, out: str = forgotten) -> np.ndarray:
            honest(self, term, 0.0 * amounts if term == out else amounts)
            return amounts

        with monkeypatch.context() as during:
            during.setattr(Ledger, "book", book)
            assert np.max(imbalance(simulate(scenario, 10000).systems[0])) > 1e-6, forgotten


# --- beyond the water: media and cylinder


@few
@given(system=systems.filter(lambda system: system.reactor is not None), seed=st.integers(10000, 20000))
def test_media_and_cylinder_lose_what_the_water_gets_what_is_vented_and_what_leaks(system: System, seed: int) -> None:
    spec = system.reactor
    course = run(system, DAYS, Streams((seed,), system.code))
    chamber, flows = course.chamber, course.ledger.flows
    if not spec.refill_days:
        lost_mmol = (spec.media_kg * spec.media_share_at_start - chamber.media_kg[0]) * 1e6 / 100.0869
        assert flows["media"][CALCIUM, 0] == pytest.approx(lost_mmol, rel=1e-9, abs=1e-6)
        assert flows["media"][CARBON, 0] == pytest.approx(lost_mmol, rel=1e-9, abs=1e-6)
    dissolved_g = flows["gas fed"][CARBON, 0] * 44.0095e-3
    assert chamber.gas_used_g[0] == pytest.approx(dissolved_g + chamber.gas_vented_g[0], rel=1e-9, abs=1e-9)


@few
@given(system=systems.filter(lambda system: system.reactor is not None), seed=st.integers(10000, 20000))
def test_the_scale_loses_what_the_shares_say(system: System, seed: int) -> None:
    """The cylinder's loss built up anew from what dissolved, hour by hour, with the shares of scenario and labels."""
    scale = Kit(quantity="cylinder_gross_mass", method="scale", every_days=(1, 1))
    hung = Cylinder(tare_kg=7.0, tare_error_kg=0.05, charge_kg=50.0, at_start_kg=50.0, swap_days=(2.5,))
    weighed = replace(system, reactor=replace(system.reactor, cylinder=hung), test=(scale,))
    found = simulate(Scenario(title="scale", days=DAYS, system=(weighed,)), seed).systems[0]
    shares = {fault.what: share_of(fault, found.truth.at) for fault in found.labels.faults}
    vented = 1.0 - (1.0 - system.reactor.vented_share) * (1.0 - shares.get("gas vented", 0.0))
    dissolved = np.diff(found.truth.gas_used - found.truth.gas_vented, append=np.nan)
    lost_kg = dissolved / (1.0 - vented) / (1.0 - shares.get("gas leak", 0.0)) / 1000.0
    readings = found.recorded.readings
    for one, other in pairwise(readings):
        hours = slice(round(one.taken_at * 24), round(other.taken_at * 24))
        if not hours.start < 60 <= hours.stop:  # the swap of day 2.5
            assert one.value - other.value == pytest.approx(float(lost_kg[hours].sum()), rel=1e-9, abs=1e-9)


def share_of(fault: Fault, at: np.ndarray) -> np.ndarray:
    """The share lost at each hour, from the label alone."""
    grown = np.minimum((at - fault.at) / fault.over_days, 1.0) if fault.over_days else 1.0
    return np.where((at >= fault.at) & (at < (fault.until or np.inf)), fault.size * grown, 0.0)


def test_gas_that_vanishes_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check above fails when what is vented is not accounted for."""
    spec = Reactor(chamber_l=15, drip_l_d=40, gas_g_d=12, media_kg=12, vented_share=0.1)
    system = System(code="S1", water=Water(volume_l=1000), corals=Corals(demand_meq_l_d=0.3), reactor=spec)
    honest = Chamber.hour

    def forgetful(self: Chamber, *rest: object) -> np.ndarray:
        vented = self.gas_vented_g
        change = honest(self, *rest)
        self.gas_vented_g = vented
        return change

    monkeypatch.setattr(Chamber, "hour", forgetful)
    course = run(system, 2, Streams((10000,), "S1"))
    dissolved = course.ledger.flows["gas fed"][CARBON] * 44.0095e-3
    assert np.all(course.chamber.gas_used_g > 1.05 * (dissolved + course.chamber.gas_vented_g))
