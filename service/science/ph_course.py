"""How a system's pH follows its alkalinity and the carbon that a plan brings it, or binds.

Today's pH tells the dissolved carbon dioxide c_0 that the water holds with all that goes on in it: the room's air,
light and respiration, what reactors bring. All that is taken to go on, and only what a plan changes moves c. Per
kilogram and day, with B = dDIC/d ln c at constant alkalinity and rho = dDIC/dA at constant c,

    B d(ln c)/dt = a - (rho - 1/2) dA/dt - kLa (c - c_0).

a is the carbon a plan adds beyond half of the alkalinity that it adds: of a reactor the gas that it dissolves, for what
the media gave goes into skeletons as it came; of calcium hydroxide minus one mol a mol; of bicarbonate a half. dA/dt is
how the plan moves the level beyond how it would have moved. At rest kLa (c - c_0) = a: the air takes what was added.
"""

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import carbonate_system
from service.science.hazards import Tank

HOURS_A_DAY = 24.0
RELATIVE_STEP = 1e-3
"""Over which B and rho are taken, differences on both sides."""
HYDROXIDE_CARBON, BICARBONATE_CARBON = -0.5, 0.5
"""a of a dosed equivalent, mol/mol; carbonate's 0 lies between."""


def ph_course_nbs(
    *, tank: Tank, alkalinity_mol_kg: Values, added_mol_kg_d: Values, moved_mol_kg_d: Values, kla_per_hour: Numbers
) -> Values:
    """pH (NBS) on each day, alike at every hour: (..., days + 1), from the tank's own on the first.

    alkalinity_mol_kg (..., days + 1) is the level on each day, added_mol_kg_d a and moved_mol_kg_d dA/dt of each day
    between (..., days). B is that of the first day: on the way to rest pH is right to 0.012, to 0.05 where it leaves
    today's by 0.7. c never falls below zero: where lime binds more than the air gives, pH rises day by day.

    Source: DERIVED, LUEKER00, LEWIS24. Check value: none, tested by test_ph_follows_what_is_integrated_finely.
    Shapes: days on the last axis, the tank's numbers and kla_per_hour broadcast with the others.
    """
    buffer, bound = _slopes(tank)
    now = tank.state_at(tank.ph_nbs)
    source = np.asarray(added_mol_kg_d) - (bound[..., None] - 0.5) * np.asarray(moved_mol_kg_d)
    pace = HOURS_A_DAY * np.asarray(kla_per_hour, dtype=np.float64) * now.co2_mol_kg / buffer
    shape = np.broadcast_shapes(source.shape[:-1], pace.shape)
    share = [np.ones(shape)]
    for day in range(source.shape[-1]):
        share.append(_after_a_day(share[-1], source[..., day] / buffer + pace, pace))
    return ph_nbs_at_share(tank=tank, alkalinity_mol_kg=alkalinity_mol_kg, co2_share=np.stack(share, axis=-1))


def ph_nbs_at_share(*, tank: Tank, alkalinity_mol_kg: Values, co2_share: Values) -> Values:
    """pH (NBS) at an alkalinity and so many times today's dissolved carbon dioxide, days on a last axis of their own.

    Source: LUEKER00, TAKAHASHI82. Check value: none, tested by test_ph_at_twice_the_gas_agrees_with_another_program.
    Shapes: as ph_course_nbs.
    """
    now = tank.state_at(tank.ph_nbs)
    salinity, celsius, boron = (
        np.asarray(each, dtype=np.float64)[..., None] for each in (tank.salinity, tank.temperature_c, tank.boron_factor)
    )
    return carbonate_system(
        alkalinity_mol_kg=alkalinity_mol_kg,
        pco2_atm=now.pco2_atm[..., None] * co2_share,
        salinity=salinity,
        temperature_c=celsius,
        boron_factor=boron,
    ).ph_nbs


def co2_share_at(*, tank: Tank, ph_nbs: Numbers) -> Values:
    """Dissolved carbon dioxide at another pH over today's, alkalinity as it is.

    Source: LUEKER00. Check value: none, tested by test_ph_at_twice_the_gas_agrees_with_another_program.
    """
    return np.asarray(tank.state_at(ph_nbs).co2_mol_kg / tank.state_at(tank.ph_nbs).co2_mol_kg)


def carried_mol_d(*, tank: Tank, co2_share: Numbers, kla_per_hour: Numbers) -> Values:
    """Carbon that the air takes a day beyond what it takes today, at so many times today's CO2, mol/d.

    kLa (c - c_0) m. Negative below today's: so much less is to be added, or to be bound.

    Source: DERIVED, LEWIS24. Check value: none, tested by test_the_air_takes_what_was_added.
    """
    free = tank.state_at(tank.ph_nbs).co2_mol_kg
    return np.asarray(HOURS_A_DAY * np.asarray(kla_per_hour) * free * (np.asarray(co2_share) - 1.0) * tank.mass_kg())


def share_at_rest(*, tank: Tank, added_mol_d: Numbers, kla_per_hour: Numbers) -> Values:
    """Today's CO2 times this when the air has come to take what was added; NaN where it never gives what is bound.

    Source: DERIVED, LEWIS24. Check value: none, tested by test_the_air_takes_what_was_added.
    """
    free = tank.state_at(tank.ph_nbs).co2_mol_kg
    share = 1.0 + np.asarray(added_mol_d) / (HOURS_A_DAY * np.asarray(kla_per_hour) * free * tank.mass_kg())
    return np.asarray(np.where(share > 0.0, share, np.nan))


def _after_a_day(share: Values, gain: Values, pace: Values) -> Values:
    """u' = u (gain - pace u), exactly, over a day."""
    small = np.abs(gain) < 1e-9
    falling = np.asarray(np.exp(-gain))
    response = np.where(small, 1.0, -np.expm1(-gain) / np.where(small, 1.0, gain))
    return np.asarray(share / (falling + pace * share * response))


def _slopes(tank: Tank) -> tuple[Values, Values]:
    """B = dDIC/d ln c at constant alkalinity, mol/kg, and rho = dDIC/dA at constant c."""
    now = tank.state_at(tank.ph_nbs)
    sides = np.array([-RELATIVE_STEP, RELATIVE_STEP])
    water = {
        name: np.asarray(getattr(tank, name), dtype=np.float64)[..., None]
        for name in ("salinity", "temperature_c", "boron_factor")
    }
    alkalinity = np.asarray(tank.alkalinity_mol_kg, dtype=np.float64)[..., None]
    pco2 = now.pco2_atm[..., None]
    of_gas = carbonate_system(alkalinity_mol_kg=alkalinity, pco2_atm=pco2 * (1.0 + sides), **water).dic_mol_kg
    of_level = carbonate_system(alkalinity_mol_kg=alkalinity * (1.0 + sides), pco2_atm=pco2, **water).dic_mol_kg
    buffer = np.diff(of_gas, axis=-1)[..., 0] / (np.log1p(RELATIVE_STEP) - np.log1p(-RELATIVE_STEP))
    bound = np.diff(of_level, axis=-1)[..., 0] / (2.0 * RELATIVE_STEP * alkalinity[..., 0])
    return np.asarray(buffer), np.asarray(bound)
