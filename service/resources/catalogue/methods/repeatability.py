"""How well a measurement repeats when nobody has said: one standard deviation by kind of method.

Common practice, no source: what keepers find when they test the same sample ten times. A site's own methods replace
these numbers.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Repeatability:
    """One standard deviation: absolute in the canonical unit, and relative to the value; they add in quadrature."""

    sd: float = 0.0
    relative_sd: float = 0.0

    def at(self, value: float) -> float:
        """The standard deviation of one measurement of this value."""
        return float((self.sd**2 + (self.relative_sd * value) ** 2) ** 0.5)


COMMON: dict[tuple[str, str], Repeatability] = {
    ("alkalinity", "drop_kit"): Repeatability(0.14),
    ("alkalinity", "syringe_titration"): Repeatability(0.05),
    ("alkalinity", "photometer"): Repeatability(0.10),
    ("alkalinity", "titrator"): Repeatability(0.02),
    ("alkalinity", "laboratory"): Repeatability(0.01),
    ("calcium", "drop_kit"): Repeatability(15.0),
    ("calcium", "syringe_titration"): Repeatability(10.0),
    ("calcium", "photometer"): Repeatability(15.0),
    ("calcium", "titrator"): Repeatability(5.0),
    ("calcium", "laboratory"): Repeatability(4.0),
    ("magnesium", "drop_kit"): Repeatability(40.0),
    ("magnesium", "syringe_titration"): Repeatability(30.0),
    ("magnesium", "photometer"): Repeatability(40.0),
    ("magnesium", "titrator"): Repeatability(15.0),
    ("magnesium", "laboratory"): Repeatability(12.0),
    ("effluent_alkalinity", "drop_kit"): Repeatability(0.0, 0.03),
    ("effluent_alkalinity", "syringe_titration"): Repeatability(0.0, 0.03),
    ("effluent_alkalinity", "titrator"): Repeatability(0.0, 0.01),
    ("effluent_flow", "timed_drip"): Repeatability(0.0, 0.10),
    ("effluent_flow", "timed_volume"): Repeatability(0.0, 0.05),
    ("effluent_flow", "flow_meter"): Repeatability(0.0, 0.03),
}

UNSTATED: dict[str, Repeatability] = {
    "alkalinity": Repeatability(0.10),
    "calcium": Repeatability(12.0),
    "magnesium": Repeatability(40.0),
    "strontium": Repeatability(1.0),
    "potassium": Repeatability(20.0),
    "nitrate": Repeatability(0.5, 0.15),
    "phosphate": Repeatability(0.02, 0.10),
    "ammonia": Repeatability(0.02, 0.15),
    "ph": Repeatability(0.05),
    "temperature": Repeatability(0.2),
    "salinity": Repeatability(0.5),
    "conductivity": Repeatability(0.0, 0.01),
    "effluent_alkalinity": Repeatability(0.0, 0.03),
    "effluent_ph": Repeatability(0.10),
    "effluent_flow": Repeatability(0.0, 0.10),
    "chamber_ph": Repeatability(0.10),
    "bubble_rate": Repeatability(0.0, 0.10),
    "gas_flow": Repeatability(0.0, 0.05),
    "cylinder_gross_mass": Repeatability(0.02),
    "limewater_strength": Repeatability(0.0, 0.05),
    "dissolved_oxygen": Repeatability(0.2),
    "pco2": Repeatability(0.0, 0.05),
    "inflow": Repeatability(0.0, 0.10),
}

ELSE = Repeatability(0.0, 0.05)


def common_methods(quantity: str) -> list[str]:
    """The kinds of method that a reading of this quantity may name without describing one."""
    return [name for known, name in COMMON if known == quantity]
