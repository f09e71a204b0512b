"""Mass in = mass out + stored, for every solute, whatever is done to a system.

Boundary: water of system and chamber. Gas exchange, photosynthesis, gas fed, media and skeletons are named terms of the
ledger. The second half ties each term to what the truth says independently of the ledger.
"""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.simulation import SimulatedSystem, simulate, simulate_many
from service.simulation.basin import ALKALINITY, CALCIUM, CARBON, MAGNESIUM, SALT, SOLUTES
from service.simulation.reactor import Chamber
from service.simulation.scenario import (
    Air,
    Clogging,
    Corals,
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

# --- systems put together at random

DAYS = 4


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


def maybe(strategy: st.SearchStrategy) -> st.SearchStrategy:
    return st.one_of(st.none(), strategy)


corals = st.builds(
    Corals,
    demand_meq_l_d=between(0, 1),
    drift_relative=between(0, 0.2),
    light_share=between(0, 1),
    saturation_response=between(0, 0.5),
    magnesium_share=between(0, 0.15),
    nitrification_meq_l_d=between(0, 0.05),
)
air = st.builds(
    Air,
    gas_exchange_per_hour=between(0, 3),
    room_co2_ppm=between(350, 3000),
    photosynthesis_mmol_l_d=between(0, 1),
)
top_off = st.builds(
    TopOff,
    evaporation_l_d=between(0, 20),
    kind=st.sampled_from(["fresh_water", "limewater"]),
    by_hand_every_days=st.sampled_from([0, 1, 3]),
)
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
    clogging=maybe(st.just(Clogging(clean_every_days=2))),
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
)
scenarios = st.builds(Scenario, title=st.just("mix"), days=st.just(DAYS), system=st.tuples(systems))


# --- what must hold for each of them

few = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def imbalance(system: SimulatedSystem) -> np.ndarray:
    """Return what the ledger cannot account for, as a share of the stock, shape (5)."""
    crossed = sum(system.flows.values(), np.zeros(5))
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
    if "media" in flows:
        dissolved_mmol = (spec.reactor.media_kg * 1e6 - truth.media[-1] * 1e6) / 100.0869  # to the last hour's start
        assert flows["media"][CALCIUM] >= dissolved_mmol - 1e-6
        assert flows["media"][CALCIUM] == pytest.approx(dissolved_mmol, rel=0.2, abs=40)
        fed_mmol = truth.gas_used[-1] * (1.0 - spec.reactor.vented_share) / 44.0095e-3
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
            assert flows.get(term, np.zeros(5))[solute] == 0.0
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
