"""The chamber of a calcium reactor: what gas and media did to the water, from what goes in and what comes out.

Per kilogram of water, with TA alkalinity and DIC dissolved inorganic carbon:

    D = (TA_out - TA_in) / 2                    calcium carbonate dissolved
    C = DIC_out - DIC_in - D                    carbon dioxide added
    X = (DIC_out - DIC_in) - r (TA_out - TA_in) carbon dioxide the tank must lose to keep its pH, r = dDIC/dTA there

D knows nothing of pH; pH dominates C. In steady state the corals return (2 r - 1) D, so that X + (2 r - 1) D = C:
all the gas added leaves again through the surface.
"""

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import (
    CarbonateState,
    carbonate_system,
    dic_per_alkalinity,
    ph_total_from_nbs,
)
from service.science.chamber_water import chamber_water
from service.science.seawater import total_calcium_riley1967

LOWEST_CHAMBER_PH, HIGHEST_CHAMBER_PH = 4.0, 9.0
"""Where the ceiling is looked for (total scale)."""
IONS_PAIR_BELOW_PH, IONS_PAIR_ABOVE_MOL_KG, ION_PAIR_ERROR = 6.0, 17.4e-3, 0.10
"""Below pH 6 (NBS) or above 50 dKH ion pairing leaves what the constants were fitted to: +-10 %, a judgement."""


@dataclass(frozen=True, slots=True)
class ChamberBalance:
    """One chamber, per kilogram of water; all fields one shape.

    used_fraction is D/C, NaN where no gas was added. omega_aragonite is that of the effluent with its own calcium:
    above 1 it is more than the media could dissolve (pH high, sample degassed, alkalinity misread, or media more
    soluble than aragonite). excess_co2_mol_kg is X.
    """

    dissolved_mol_kg: Values
    added_co2_mol_kg: Values
    used_fraction: Values
    excess_co2_mol_kg: Values
    carbon_per_alkalinity: Values
    omega_aragonite: Values
    effluent_pco2_atm: Values
    effluent_dic_mol_kg: Values
    inflow_dic_mol_kg: Values


@dataclass(frozen=True, slots=True)
class Ceiling:
    """Effluent at which the media stops dissolving (Omega aragonite 1 with its own calcium); all fields one shape.

    relative_error: 0.1 below pH 6 (NBS) or above 50 dKH, where the constants are stretched; 0 elsewhere.
    """

    alkalinity_mol_kg: Values
    ph_nbs: Values
    pco2_atm: Values
    relative_error: Values


def chamber_balance(
    *,
    inflow_alkalinity_mol_kg: Numbers,
    inflow_ph_nbs: Numbers,
    effluent_alkalinity_mol_kg: Numbers,
    effluent_ph_nbs: Numbers,
    salinity: Numbers,
    inflow_temperature_c: Numbers,
    effluent_temperature_c: Numbers,
    tank_ph_nbs: Numbers | None = None,
    tank_temperature_c: Numbers | None = None,
    inflow_calcium_mol_kg: Numbers | None = None,
    boron_factor: Numbers = 1.0,
) -> ChamberBalance:
    """What one chamber did, per kilogram of water. Temperatures are those at which each pH was read.

    r is taken at the tank's pH: the inflow's unless given, as it must be for a second chamber. Calcium of the inflow is
    natural seawater's unless given.

    Source: DERIVED, WOLFGLADROW07, LUEKER00, MUCCI83, RILEY67, TAKAHASHI82.
    Check value: dissolved_mol_kg = 2.96238e-3 at inflow_alkalinity_mol_kg=2.788120e-3, inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=8.712875e-3, effluent_ph_nbs=6.6, salinity=35, inflow_temperature_c=25,
        effluent_temperature_c=25 (+-1e-6).
    Check value: added_co2_mol_kg = 5.3192e-3 at inflow_alkalinity_mol_kg=2.788120e-3, inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=8.712875e-3, effluent_ph_nbs=6.6, salinity=35, inflow_temperature_c=25,
        effluent_temperature_c=25 (+-2e-6).
    Check value: omega_aragonite = 0.55563 at inflow_alkalinity_mol_kg=2.788120e-3, inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=8.712875e-3, effluent_ph_nbs=6.6, salinity=35, inflow_temperature_c=25,
        effluent_temperature_c=25 (+-0.001).
    """
    if inflow_calcium_mol_kg is None:
        inflow_calcium_mol_kg = total_calcium_riley1967(salinity=salinity)
    if tank_ph_nbs is None:
        tank_ph_nbs, tank_temperature_c = inflow_ph_nbs, inflow_temperature_c
    if tank_temperature_c is None:
        tank_temperature_c = inflow_temperature_c
    gained = np.asarray(effluent_alkalinity_mol_kg, dtype=np.float64) - inflow_alkalinity_mol_kg
    dissolved = 0.5 * gained
    inflow = _water(inflow_alkalinity_mol_kg, inflow_ph_nbs, salinity, inflow_temperature_c, boron_factor, None)
    effluent = _water(
        effluent_alkalinity_mol_kg,
        effluent_ph_nbs,
        salinity,
        effluent_temperature_c,
        boron_factor,
        inflow_calcium_mol_kg + dissolved,
    )
    carbon = effluent.dic_mol_kg - inflow.dic_mol_kg
    added = carbon - dissolved
    tank_ph_total = ph_total_from_nbs(ph_nbs=tank_ph_nbs, salinity=salinity, temperature_c=tank_temperature_c)
    r = dic_per_alkalinity(ph_total=tank_ph_total, salinity=salinity, temperature_c=tank_temperature_c)
    parts = np.broadcast_arrays(
        dissolved,
        added,
        dissolved / np.where(added > 0.0, added, np.nan),
        carbon - r * gained,
        r,
        effluent.omega_aragonite,
        effluent.pco2_atm,
        effluent.dic_mol_kg,
        inflow.dic_mol_kg,
    )
    return ChamberBalance(*parts)


def chambers_in_series(
    *,
    alkalinity_mol_kg: Values,
    ph_nbs: Values,
    temperature_c: Values,
    salinity: Numbers,
    boron_factor: Numbers = 1.0,
) -> ChamberBalance:
    """A balance per chamber from the water at every point of the way.

    The last axis is the point: the tank, then the effluent of each chamber in turn; the result has one fewer, a chamber
    each. D, C and X of the chambers add up to those of the whole. A chamber without gas that lets some escape has a
    negative C.

    Source: DERIVED, WOLFGLADROW07, LUEKER00, MUCCI83, RILEY67, TAKAHASHI82.
    Check value: none, tested by test_chambers_in_series_add_up_to_the_whole.
    Shapes: the last axis is the point along the way.
    """
    alkalinity, ph, celsius = np.broadcast_arrays(
        *(np.asarray(each, dtype=np.float64) for each in (alkalinity_mol_kg, ph_nbs, temperature_c))
    )
    salinity, boron_factor = (np.asarray(each, dtype=np.float64)[..., None] for each in (salinity, boron_factor))
    dissolved_before = 0.5 * (alkalinity[..., :-1] - alkalinity[..., :1])
    return chamber_balance(
        inflow_alkalinity_mol_kg=alkalinity[..., :-1],
        inflow_ph_nbs=ph[..., :-1],
        effluent_alkalinity_mol_kg=alkalinity[..., 1:],
        effluent_ph_nbs=ph[..., 1:],
        salinity=salinity,
        inflow_temperature_c=celsius[..., :-1],
        effluent_temperature_c=celsius[..., 1:],
        tank_ph_nbs=ph[..., :1],
        tank_temperature_c=celsius[..., :1],
        inflow_calcium_mol_kg=total_calcium_riley1967(salinity=salinity) + dissolved_before,
        boron_factor=boron_factor,
    )


def ceiling_by_ph(
    *,
    chamber_ph_nbs: Numbers,
    inflow_alkalinity_mol_kg: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    inflow_calcium_mol_kg: Numbers | None = None,
    boron_factor: Numbers = 1.0,
) -> Ceiling:
    """The highest effluent alkalinity at a chamber pH. 0.1 pH is 17 % of it.

    In closed form: `service.science.chamber_water`.

    Source: DERIVED, MUCCI83, LUEKER00, RILEY67, TAKAHASHI82.
    Check value: alkalinity_mol_kg = 13.35e-3 at chamber_ph_nbs=6.6, inflow_alkalinity_mol_kg=2.788120e-3, salinity=35,
        temperature_c=25 (+-2e-5).
    """
    water = {"salinity": salinity, "temperature_c": temperature_c, "boron_factor": boron_factor}
    of_chamber = chamber_water(
        inflow_alkalinity_mol_kg=inflow_alkalinity_mol_kg, inflow_calcium_mol_kg=inflow_calcium_mol_kg, **water
    )
    alkalinity, ph_total = of_chamber.ceiling_mol_kg(chamber_ph_nbs), of_chamber.ph_total(chamber_ph_nbs)
    return _ceiling(carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=ph_total, **water))


def ceiling_by_pco2(
    *,
    chamber_pco2_atm: Numbers,
    inflow_alkalinity_mol_kg: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    inflow_calcium_mol_kg: Numbers | None = None,
    boron_factor: Numbers = 1.0,
) -> Ceiling:
    """The highest effluent alkalinity under a partial pressure of carbon dioxide, by bisection on pH.

    Source: DERIVED, MUCCI83, LUEKER00, WEISS74, RILEY67.
    Check value: alkalinity_mol_kg = 12.69e-3 at chamber_pco2_atm=0.1, inflow_alkalinity_mol_kg=2.788120e-3,
        salinity=35, temperature_c=25 (+-3e-5).
    """
    if inflow_calcium_mol_kg is None:
        inflow_calcium_mol_kg = total_calcium_riley1967(salinity=salinity)
    water = {"salinity": salinity, "temperature_c": temperature_c, "boron_factor": boron_factor}
    shape = np.broadcast_shapes(
        *(
            np.shape(each)
            for each in (chamber_pco2_atm, inflow_alkalinity_mol_kg, inflow_calcium_mol_kg, *water.values())
        )
    )
    low, high = np.full(shape, LOWEST_CHAMBER_PH), np.full(shape, HIGHEST_CHAMBER_PH)
    for _ in range(60):
        middle = 0.5 * (low + high)
        state = carbonate_system(ph_total=middle, pco2_atm=chamber_pco2_atm, **water)
        of_seawater = total_calcium_riley1967(salinity=salinity)
        calcium = inflow_calcium_mol_kg + 0.5 * (state.alkalinity_mol_kg - inflow_alkalinity_mol_kg)
        saturated = state.omega_aragonite * calcium / of_seawater >= 1.0
        low, high = np.where(saturated, low, middle), np.where(saturated, middle, high)
    return _ceiling(carbonate_system(ph_total=0.5 * (low + high), pco2_atm=chamber_pco2_atm, **water))


def effluent_ph_for_added_co2(
    *,
    added_co2_mol_kg: Numbers,
    inflow_alkalinity_mol_kg: Numbers,
    inflow_ph_nbs: Numbers,
    effluent_alkalinity_mol_kg: Numbers,
    salinity: Numbers,
    inflow_temperature_c: Numbers,
    effluent_temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
) -> Values:
    """The effluent pH (NBS) at which the balance gives a known C, as weighed: what the chamber would read.

    A sample that has lost carbon dioxide reads higher than this; by how much says whether degassing alone could explain
    gas that seems to be missing.

    Source: DERIVED, LUEKER00, TAKAHASHI82.
    Check value: 6.6 at added_co2_mol_kg=5.3192e-3, inflow_alkalinity_mol_kg=2.788120e-3, inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=8.712875e-3, salinity=35, inflow_temperature_c=25, effluent_temperature_c=25
        (+-5e-4).
    """
    inflow = _water(inflow_alkalinity_mol_kg, inflow_ph_nbs, salinity, inflow_temperature_c, boron_factor, None)
    dissolved = 0.5 * (np.asarray(effluent_alkalinity_mol_kg, dtype=np.float64) - inflow_alkalinity_mol_kg)
    return carbonate_system(
        alkalinity_mol_kg=effluent_alkalinity_mol_kg,
        dic_mol_kg=inflow.dic_mol_kg + dissolved + added_co2_mol_kg,
        salinity=salinity,
        temperature_c=effluent_temperature_c,
        boron_factor=boron_factor,
    ).ph_nbs


def _water(
    alkalinity: Numbers, ph_nbs: Numbers, salinity: Numbers, celsius: Numbers, boron: Numbers, calcium: Numbers | None
) -> CarbonateState:
    return carbonate_system(
        alkalinity_mol_kg=alkalinity,
        ph_total=ph_total_from_nbs(ph_nbs=ph_nbs, salinity=salinity, temperature_c=celsius),
        salinity=salinity,
        temperature_c=celsius,
        calcium_mol_kg=calcium,
        boron_factor=boron,
    )


def _ceiling(state: CarbonateState) -> Ceiling:
    stretched = (state.ph_nbs < IONS_PAIR_BELOW_PH) | (state.alkalinity_mol_kg > IONS_PAIR_ABOVE_MOL_KG)
    error = np.where(stretched, ION_PAIR_ERROR, 0.0)
    return Ceiling(state.alkalinity_mol_kg, state.ph_nbs, state.pco2_atm, np.asarray(error))
