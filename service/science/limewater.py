"""Limewater: what a saturated solution holds, what it does to a tank, and how it shares the demand with a reactor.

Caution: limewater is caustic (pH 12.4). A dose that is too large or too fast raises pH and alkalinity at once; cap it
by the day. It is never added on top of a reactor that meets the whole demand: the drip has to come down with it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.seawater import density

SATURATED_MOL_L_25C = 0.0203
SATURATED_PER_KELVIN = -0.008
"""Relative slope of the solubility, per kelvin: that of a handbook series between 25 and 40 C, seen unattributed. The
series itself is flatter in the cold (-0.6 % a kelvin from 0 to 25 C): 0.5 % less than told here at 20 C, 5 % at 0 C."""
SATURATED_RELATIVE_SD = 0.05
"""Handbooks give 6 % more at 25 C. Real vats stand at 50-100 % of it; pH cannot tell, titration or conductivity can."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LimewaterSupply:
    """What a volume of limewater a day brings; all fields one shape. co2_bound_g_d is at constant tank pH."""

    alkalinity_meq_d: Values
    calcium_g_d: Values
    co2_bound_g_d: Values


@dataclass(frozen=True, slots=True)
class Split:
    """Limewater and reactor sharing one demand; all fields one shape.

    The two meet the demand together. is_limited: less limewater than would balance, because no more water evaporates.
    """

    limewater_meq_d: Values
    limewater_l_d: Values
    reactor_meq_d: Values
    drip_l_d: Values
    is_limited: Flags


def saturated_mol_l(*, temperature_c: Numbers) -> Values:
    """Calcium hydroxide in a saturated solution, mol/L; it dissolves less when warm. Relative sd 5 %, 0-40 C.

    0.0203 exp(-0.008 (t - 25)): the solubility at 25 C is published, the slope a reading of a handbook's series.

    Source: BATES56, PRACTICE. Check value: 0.0203 at temperature_c=25 (+-1e-4).
    """
    result: Values = np.exp(SATURATED_PER_KELVIN * (np.asarray(temperature_c, dtype=np.float64) - 25.0))
    return SATURATED_MOL_L_25C * result


def limewater_supply(
    *, volume_l_d: Numbers, strength_mol_l: Numbers, carbon_per_alkalinity_fraction: Numbers
) -> LimewaterSupply:
    """What limewater brings in a day: 2 n meq alkalinity, n mmol calcium, and it binds 2 r n carbon at constant pH.

    carbon_per_alkalinity_fraction is r = dDIC/dTA at the tank's pH (carbonate.dic_per_alkalinity).

    Source: DERIVED, IUPAC05.
    Check value: alkalinity_meq_d = 812 at volume_l_d=20, strength_mol_l=0.0203, carbon_per_alkalinity_fraction=0.9235
        (+-0.01).
    Check value: co2_bound_g_d = 33.0 at volume_l_d=20, strength_mol_l=0.0203, carbon_per_alkalinity_fraction=0.9235
        (+-0.05).
    """
    moles = np.asarray(volume_l_d, dtype=np.float64) * strength_mol_l
    bound = 2.0 * moles * carbon_per_alkalinity_fraction * MOLAR_MASS_G_MOL["CO2"]
    return LimewaterSupply(*np.broadcast_arrays(2000.0 * moles, moles * MOLAR_MASS_G_MOL["Ca"], bound))


def split_for_constant_ph(
    *,
    demand_meq_d: Numbers,
    dissolved_mol_kg: Numbers,
    excess_co2_mol_kg: Numbers,
    carbon_per_alkalinity_fraction: Numbers,
    strength_mol_l: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    evaporation_l_d: Numbers = np.inf,
) -> Split:
    """Effluent and limewater together leave the tank's pH where it is, calcification apart.

    R + Y = U and x R = r Y with x = X/2D, so Y = U x/(r + x). More than evaporates is not dosed.

    Source: DERIVED.
    Check value: limewater_l_d = 4.2 at demand_meq_d=500, dissolved_mol_kg=2.96238e-3, excess_co2_mol_kg=2.80994e-3,
        carbon_per_alkalinity_fraction=0.9235, strength_mol_l=0.0203, salinity=35, temperature_c=25 (+-0.05).
    Check value: drip_l_d = 54.5 at demand_meq_d=500, dissolved_mol_kg=2.96238e-3, excess_co2_mol_kg=2.80994e-3,
        carbon_per_alkalinity_fraction=0.9235, strength_mol_l=0.0203, salinity=35, temperature_c=25 (+-0.1).
    """
    x = excess_co2_mol_kg / (2.0 * np.asarray(dissolved_mol_kg, dtype=np.float64))
    part = x / (carbon_per_alkalinity_fraction + x)
    return _split(demand_meq_d, part, dissolved_mol_kg, strength_mol_l, salinity, temperature_c, evaporation_l_d)


def split_binding_all_gas(
    *,
    demand_meq_d: Numbers,
    dissolved_mol_kg: Numbers,
    added_co2_mol_kg: Numbers,
    strength_mol_l: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    evaporation_l_d: Numbers = np.inf,
) -> Split:
    """Limewater binds as much carbon dioxide as the reactor adds, calcification included: nothing has to be outgassed.

    R + Y = U and c R = Y/2 with c = C/2D, so Y = U c/(c + 1/2). More than evaporates is not dosed.

    Source: DERIVED.
    Check value: limewater_l_d = 7.9 at demand_meq_d=500, dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3,
        strength_mol_l=0.0203, salinity=35, temperature_c=25 (+-0.05).
    Check value: drip_l_d = 29.5 at demand_meq_d=500, dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3,
        strength_mol_l=0.0203, salinity=35, temperature_c=25 (+-0.1).
    """
    c = added_co2_mol_kg / (2.0 * np.asarray(dissolved_mol_kg, dtype=np.float64))
    part = c / (c + 0.5)
    return _split(demand_meq_d, part, dissolved_mol_kg, strength_mol_l, salinity, temperature_c, evaporation_l_d)


def split_for_wanted_ph(
    *,
    demand_meq_d: Numbers,
    reactor_meq_d: Numbers,
    carried_mol_d: Numbers,
    dissolved_mol_kg: Numbers,
    added_co2_mol_kg: Numbers,
    strength_mol_l: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    evaporation_l_d: Numbers = np.inf,
) -> Split:
    """Effluent and limewater together leave the air to take so much carbon more than today, the effluent as it is.

    R + Y = U and c (R - R_0) - Y/2 = N with c = C/2D, so Y = (c (U - R_0) - N)/(c + 1/2), held to 0..U. R_0 is what
    the reactor brings now, N what the air takes beyond today at the wanted pH (ph_course.carried_mol_d), negative where
    pH is to rise. With U = R_0, N = -c R_0 is `split_binding_all_gas`, N = -x R_0 `split_for_constant_ph`. More than
    evaporates is not dosed.

    Source: DERIVED.
    Check value: limewater_l_d = 7.9 at demand_meq_d=500, reactor_meq_d=500, carried_mol_d=-0.4489,
        dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3, strength_mol_l=0.0203, salinity=35, temperature_c=25
        (+-0.05).
    Check value: drip_l_d = 29.5 at demand_meq_d=500, reactor_meq_d=500, carried_mol_d=-0.4489,
        dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3, strength_mol_l=0.0203, salinity=35, temperature_c=25
        (+-0.1).
    Check value: limewater_l_d = 4.2 at demand_meq_d=500, reactor_meq_d=500, carried_mol_d=-0.2371,
        dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3, strength_mol_l=0.0203, salinity=35, temperature_c=25
        (+-0.05).
    Check value: drip_l_d = 54.5 at demand_meq_d=500, reactor_meq_d=500, carried_mol_d=-0.2371,
        dissolved_mol_kg=2.96238e-3, added_co2_mol_kg=5.3192e-3, strength_mol_l=0.0203, salinity=35, temperature_c=25
        (+-0.1).
    """
    demand = np.asarray(demand_meq_d, dtype=np.float64)
    c = added_co2_mol_kg / (2.0 * np.asarray(dissolved_mol_kg, dtype=np.float64))
    wanted = (c * (demand - reactor_meq_d) - 1000.0 * np.asarray(carried_mol_d)) / (c + 0.5)
    part = np.clip(wanted, 0.0, demand) / demand
    return _split(demand, part, dissolved_mol_kg, strength_mol_l, salinity, temperature_c, evaporation_l_d)


def ph_nbs_after_dose(
    *,
    dose_l: Numbers,
    strength_mol_l: Numbers,
    tank_volume_l: Numbers,
    alkalinity_mol_kg: Numbers,
    ph_nbs: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
) -> Values:
    """pH (NBS) of the tank after limewater is poured in at once: no gas exchange, its volume neglected.

    Source: DERIVED, LUEKER00, TAKAHASHI82.
    Check value: 8.343 at dose_l=5, strength_mol_l=0.0203, tank_volume_l=1000, alkalinity_mol_kg=2.788120e-3,
        ph_nbs=8.1, salinity=35, temperature_c=25 (+-0.003).
    """
    water = {"salinity": salinity, "temperature_c": temperature_c, "boron_factor": boron_factor}
    ph_total = ph_total_from_nbs(ph_nbs=ph_nbs, salinity=salinity, temperature_c=temperature_c)
    before = carbonate_system(alkalinity_mol_kg=alkalinity_mol_kg, ph_total=ph_total, **water)
    kilograms = tank_volume_l * density(salinity=salinity, temperature_c=temperature_c) / 1000.0
    gained = 2.0 * np.asarray(dose_l, dtype=np.float64) * strength_mol_l / kilograms
    after = carbonate_system(alkalinity_mol_kg=alkalinity_mol_kg + gained, dic_mol_kg=before.dic_mol_kg, **water)
    return after.ph_nbs


def _split(
    demand: Numbers,
    part: Values,
    dissolved: Numbers,
    strength: Numbers,
    salinity: Numbers,
    celsius: Numbers,
    evaporation: Numbers,
) -> Split:
    wanted = demand * part / (2000.0 * np.asarray(strength, dtype=np.float64))
    volume = np.minimum(wanted, evaporation)
    limewater = 2000.0 * volume * strength
    reactor = demand - limewater
    gained_meq_l = 2.0 * np.asarray(dissolved) * density(salinity=salinity, temperature_c=celsius)
    parts = np.broadcast_arrays(limewater, volume, reactor, reactor / gained_meq_l, wanted > evaporation)
    return Split(*parts)
