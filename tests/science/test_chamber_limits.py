"""What limits a chamber, against the ceiling by hand, the chamber model, a second-order law, and the simulator."""

import numpy as np
import pytest

from service.science.chamber_limits import ReadingErrors, limits, limits_with_errors
from service.science.chamber_model import Running, RunningWater, added_co2, at_gas_and_drip, at_ph_and_drip
from service.science.seawater import density
from service.simulation import chemistry
from service.simulation.basin import Ledger, column
from service.simulation.reactor import Chamber
from service.simulation.scenario import Reactor

DRIP = 82.467


def chamber(alkalinity_mol_kg: float = 8.712875e-3, ph: float = 6.6) -> Running:
    """The worked reactor of the design, or another effluent of it."""
    return Running(
        drip_l_d=DRIP,
        inflow_alkalinity_mol_kg=2.788120e-3,
        inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=alkalinity_mol_kg,
        effluent_ph_nbs=ph,
    )


def test_the_chamber_of_the_worked_case() -> None:
    assert float(added_co2(running=chamber())) == pytest.approx(5.3192e-3, abs=2e-6)
    assert float(RunningWater.of(chamber()).effluent.ceiling_mol_kg(6.6)) == pytest.approx(13.35e-3, abs=2e-5)


def test_the_share_of_gas_at_the_ceiling_by_hand() -> None:
    """Along the ceiling, by bisection with PyCO2SYS 1.8.3.4 (S 35, 25 C, in 8 dKH pH 8.1; mmol/kg):

    pH 6.65: D 4.7622, C 7.6448; pH 6.60: TA 13.3456; pH 6.55: D 5.8311, C 9.9831. So d ln D/d ln C = ln(5.8311/4.7622)
    / ln(9.9831/7.6448) = 0.2025/0.2669 = 0.759; nothing is left for the media, the drip has the rest.
    """
    at = limits(running=chamber(13.3456e-3))
    assert float(at.gas) == pytest.approx(0.759, abs=0.002)
    assert float(at.drip) == pytest.approx(0.241, abs=0.002)
    assert float(at.media) == pytest.approx(0.0, abs=1e-4)
    above = limits(running=chamber(14e-3))  # flagged elsewhere; here at the ceiling, no room below it
    assert float(above.media) == 0.0


@pytest.mark.parametrize(("alkalinity", "ph"), [(8.712875e-3, 6.6), (10.55e-3, 6.6), (14.6e-3, 6.2), (5.9e-3, 7.0)])
def test_one_per_cent_more_gas_or_drip_in_the_chamber_model_brings_the_shares(alkalinity: float, ph: float) -> None:
    running = chamber(alkalinity, ph)
    told = limits(running=running)
    gas = at_gas_and_drip(running=running, gas_fraction=np.array([1.01, 1 / 1.01]), drip_l_d=DRIP).supply_fraction
    drip = at_gas_and_drip(running=running, gas_fraction=1.0, drip_l_d=DRIP * np.array([1.01, 1 / 1.01]))
    by_two = 2 * np.log(1.01)
    assert float(told.gas) == pytest.approx(np.log(gas[0] / gas[1]) / by_two, abs=5e-4)
    assert float(told.drip) == pytest.approx(
        np.log(drip.supply_fraction[0] / drip.supply_fraction[1]) / by_two, abs=5e-4
    )
    assert float(told.gas + told.drip + told.media) == pytest.approx(1.0, abs=1e-12)


def test_in_a_thin_effluent_more_drip_brings_less() -> None:
    thin = limits(running=chamber(5.9e-3, 7.0))
    assert float(thin.drip) < -0.03
    assert float(thin.gas) > 1.0  # what more gas brings, the souring of the tank's water has been paid for


@pytest.mark.parametrize("order", [1.0, 2.0, 4.0])
def test_with_the_ph_held_media_lead_below_one_over_one_and_the_order(order: float) -> None:
    """A part f of the way to the ceiling leaves m = 2 (1 - f)/(n f): media m/(m + 2) is a half at f = 1/(1 + n)."""
    tank, top = 2.788120e-3, float(RunningWater.of(chamber()).effluent.ceiling_mol_kg(6.6))
    even = limits(running=chamber(tank + (top - tank) / (1.0 + order)), holds_ph=True, order=order)
    assert float(even.media) == pytest.approx(0.5, abs=1e-9)
    assert float(even.drip) == pytest.approx(0.5, abs=1e-9)


def test_with_the_ph_held_drip_and_media_share_alone_by_hand() -> None:
    """S = Q kappa (TA_max - TA_in)/(Q + kappa): media Q/(Q + kappa), kappa 82.467 x 5.9248/4.637 = 105.4 L/d."""
    held = limits(running=chamber(), holds_ph=True)
    assert float(held.gas) == 0.0
    assert float(held.media) == pytest.approx(82.467 / (82.467 + 105.4), abs=0.002)
    assert float(held.drip) == pytest.approx(105.4 / (82.467 + 105.4), abs=0.002)
    ends = at_ph_and_drip(running=chamber(), chamber_ph_nbs=6.6, drip_l_d=DRIP * np.array([1.01, 1 / 1.01]))
    steeper = np.log(ends.supply_fraction[0] / ends.supply_fraction[1]) / (2 * np.log(1.01))
    assert float(held.drip) == pytest.approx(steeper, abs=5e-4)


def test_a_second_order_law_solved_on_its_own() -> None:
    """Q (TA - TA_in) = k (TA_max - TA)^2, its positive root at each pH, the pH by halving until the gas is spent."""
    read = chamber()
    gained = read.effluent_alkalinity_mol_kg - read.inflow_alkalinity_mol_kg
    top = float(RunningWater.of(read).effluent.ceiling_mol_kg(6.6))
    k = DRIP * gained / (top - read.effluent_alkalinity_mol_kg) ** 2
    gas = DRIP * float(added_co2(running=read))

    def supply(times_gas: float, drip: float) -> float:
        low, high = 5.5, 8.0
        for _ in range(45):
            ph = 0.5 * (low + high)
            room = float(RunningWater.of(read).effluent.ceiling_mol_kg(ph)) - read.inflow_alkalinity_mol_kg
            x = room + drip / (2 * k) - np.sqrt((room + drip / (2 * k)) ** 2 - room**2)
            added = float(added_co2(running=chamber(read.inflow_alkalinity_mol_kg + x, ph)))
            low, high = (ph, high) if drip * added > gas * times_gas else (low, ph)
        return drip * x

    assert supply(1.0, DRIP) == pytest.approx(DRIP * gained, rel=1e-6)
    told = limits(running=read, order=2.0)
    by_two = 2 * np.log(1.01)
    assert float(told.gas) == pytest.approx(np.log(supply(1.01, DRIP) / supply(1 / 1.01, DRIP)) / by_two, abs=1e-3)
    by_drip = np.log(supply(1.0, DRIP * 1.01) / supply(1.0, DRIP / 1.01)) / by_two
    assert float(told.drip) == pytest.approx(by_drip, abs=1e-3)


def test_a_simulated_chamber_answers_gas_drip_and_media_by_their_shares() -> None:
    """The simulator's own chamber at rest, each turned up by 4 % in turn."""
    constants = chemistry.constants_at(np.array([35.0]), np.array([25.0]))
    water = column(2.85, 2.45, 10.28, 53.0, 35.0)
    water[1] = chemistry.carbon_at(water[0], chemistry.hydrogen_at(np.array([8.1]), constants), constants)
    spec = Reactor(
        chamber_l=20, drip_l_d=60, gas_g_d=16.5, media_kg=18, media_rate_per_hour=0.2, effluent_alkalinity_meq_l=10.4
    )

    def at_rest(gas: float = 1.0, drip: float = 1.0, media: float = 1.0) -> tuple[float, float, float]:
        one = Chamber.started(spec, water, constants, np.ones(1))
        one.gas_mmol_d, one.drip_l_d, one.activity = one.gas_mmol_d * gas, one.drip_l_d * drip, one.activity * media
        for _ in range(24 * 10):
            one.hour(water, one.drip_l_d, constants, Ledger(1))
            one.media_kg[:] = 18.0
        alkalinity = float(one.concentration[0, 0])
        return alkalinity, float(chemistry.ph_nbs(one.hydrogen, constants)[0]), 60.0 * drip * (alkalinity - 2.85)

    alkalinity, ph, supply = at_rest()
    litre = float(density(salinity=35.0, temperature_c=25.0))
    told = limits(
        running=Running(
            drip_l_d=60.0,
            inflow_alkalinity_mol_kg=2.85 / litre,
            inflow_ph_nbs=8.1,
            effluent_alkalinity_mol_kg=alkalinity / litre,
            effluent_ph_nbs=ph,
        )
    )
    for name in ("gas", "drip", "media"):
        turned = at_rest(**{name: 1.04})[2]
        assert float(getattr(told, name)) == pytest.approx(np.log(turned / supply) / np.log(1.04), abs=0.02)
    assert float(told.media) > 0.1  # or the media were asked nothing


def test_intervals_of_the_shares_hold_what_they_say() -> None:
    """Readings drawn about a true chamber of first order: 95 % at least, the order being left open beside."""
    generator = np.random.default_rng(5)
    truth, count = chamber(), 600
    true = limits(running=truth)
    read = Running(
        drip_l_d=DRIP,
        inflow_alkalinity_mol_kg=truth.inflow_alkalinity_mol_kg * (1 + 0.03 * generator.standard_normal(count)),
        inflow_ph_nbs=8.1 + 0.05 * generator.standard_normal(count),
        effluent_alkalinity_mol_kg=truth.effluent_alkalinity_mol_kg * (1 + 0.03 * generator.standard_normal(count)),
        effluent_ph_nbs=6.6 + 0.1 * generator.standard_normal(count),
        effluent_temperature_c=25.0 + 0.5 * generator.standard_normal(count),
    )
    known = limits_with_errors(running=read)
    for name in ("gas", "drip", "media"):
        found = getattr(known, name)
        held = np.mean((found.low <= getattr(true, name)) & (getattr(true, name) <= found.high))
        assert held > 0.93
        assert np.all(found.low <= found.value)
        assert np.all(found.value <= found.high)
    lead = np.mean(
        (known.gas_over_drip.low <= true.gas - true.drip) & (true.gas - true.drip <= known.gas_over_drip.high)
    )
    assert lead > 0.93
    assert np.all(known.media.low >= 0.0)
    assert np.all(known.drip.high <= 1.0)
    exact = limits_with_errors(running=truth, errors=ReadingErrors(0.003, 0.005, 0.003, 0.01, 0.05))
    assert float(exact.drip.high - exact.drip.low) < 0.3 * float(
        limits_with_errors(running=truth).drip.high - limits_with_errors(running=truth).drip.low
    )


@pytest.mark.parametrize(("alkalinity", "ph"), [(2.5e-3, 6.6), (2.788120e-3, 6.6), (3.2e-3, 8.7)])
def test_without_dissolution_or_gas_there_is_nothing_to_share(alkalinity: float, ph: float) -> None:
    found = limits_with_errors(running=chamber(alkalinity, ph))
    assert all(np.isnan(each.value) for each in (found.gas, found.drip, found.media))
