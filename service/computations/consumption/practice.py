"""How well inputs are known when nobody has said: common practice, no source. Stated values replace them."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Practice:
    """Relative standard deviations of inputs, drifts per square root of a day, and stand-ins for what is unstated."""

    timed_drip: float = 0.10
    drip_drift: float = 0.02
    after_cleaning: float = 0.05
    effluent_kit: float = 0.03
    effluent_drift: float = 0.02
    dosing_pump: float = 0.05
    measured_dose: float = 0.02
    titrated_limewater: float = 0.15
    untitrated_limewater: float = 0.25
    untitrated_limewater_meq_l: float = 0.75 * 40.6  # a vat nobody titrated holds half to all of saturation
    unrecorded_yet: float = 0.30
    changed_fraction: float = 0.05
    new_water: float = 0.03
    unstated_new_water: float = 0.15
    seawater: dict[str, float] = field(
        # natural seawater at salinity 35: 2300 umol/kg; Riley & Tongudai 1967 for calcium, Dickson 2007 for magnesium
        default_factory=lambda: {
            "alkalinity": 2.35, "calcium": 421.8, "magnesium": 1313.8, "salinity": 35.0, "nitrate": 0.0,
        }
    )  # fmt: skip
    unstated_new_water_sd: dict[str, float] = field(
        # in the unit of the quantity, for what is not known to a part of itself
        default_factory=lambda: {"salinity": 0.5, "nitrate": 1.0}
    )
    weighed_salt: float = 0.10  # a mix holds water of crystals, and is damp
    limewater_share: dict[str, float] = field(
        # per meq of alkalinity: itself, and 20.04 mg of calcium
        default_factory=lambda: {"alkalinity": 1.0, "calcium": 20.039}
    )
    limewater_assumption: str = (
        "Limewater that nobody titrated is taken as 75 % of saturation (40.6 meq/L at 25 C), known to 25 %."
    )


PRACTICE = Practice()
