"""What a scenario can say: a site as data.

Days count from the start of the record, day 0 at midnight. A relative error is a standard deviation drawn once a run
unless it says otherwise. Every class here is one table of the file.
"""

from dataclasses import dataclass, field
from typing import Literal

from service.simulation.faults import Degassed, Loss, Misread, Offset, Rate, Span, Standstill
from service.simulation.strict import ScenarioError, number

Quantity = Literal[
    "alkalinity", "calcium", "magnesium", "salinity", "temperature", "ph", "effluent_alkalinity", "effluent_ph",
    "effluent_flow", "cylinder_gross_mass", "limewater_strength", "bubble_rate", "media_level",
    "nitrate",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Water:
    """The body of water at the start, and how far the recorded volume is from the true one."""

    volume_l: float = number(1, 1e7)
    volume_error: float = number(0, 0.5, 0.0)
    salinity: float = number(25, 42, 35.0)
    temperature_c: float = number(15, 32, 25.0)
    temperature_swing_c: float = number(0, 3, 0.3)
    alkalinity_meq_l: float = number(0.5, 8, 2.85)
    calcium_mg_l: float = number(100, 800, 420.0)
    magnesium_mg_l: float = number(300, 2500, 1310.0)
    nitrate_mg_l: float = number(0.1, 500, 5.0)
    ph_nbs: float = number(7, 9, 8.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandStep:
    """The demand changes by a factor at a day drawn between two bounds; a stock change when it is recorded."""

    between_days: Span
    factor: float = number(0, 10)
    recorded: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Corals:
    """What takes alkalinity and calcium out of the water."""

    demand_meq_l_d: float = number(0, 5)
    demand_spread: float = number(0, 1, 0.0)
    drift_relative: float = number(0, 0.5, 0.04)
    """sd of the logarithm of the demand a square root of a day."""
    drift_return_days: float = number(1, 1e4, 60.0)
    growth_per_day: float = number(-0.05, 0.05, 0.0)
    light_share: float = number(0, 1, 0.3)
    """Share of the daily demand that follows the light."""
    saturation_response: float = number(0, 1, 0.0)
    reference_saturation: float = number(0.5, 8, 3.5)
    magnesium_share: float = number(0, 0.3, 0.01)
    nitrification_meq_l_d: float = number(0, 0.5, 0.0)
    """Net of what algae and denitrification give back; as much nitrate, in mmol, is formed."""
    more_food: Rate | None = None
    """meq/L/d of nitrification besides."""
    step: tuple[DemandStep, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """The light and the air over the water: photosynthesis, respiration and gas exchange."""

    gas_exchange_per_hour: float = number(0, 5, 1.0)
    room_co2_ppm: float = number(200, 20000, 700.0)
    light_from_hour: int = number(0, 23, 9)
    light_hours: int = number(1, 24, 12)
    photosynthesis_mmol_l_d: float = number(0, 3, 0.3)


@dataclass(frozen=True, slots=True, kw_only=True)
class TopOff:
    """Evaporation and what replaces it: hour by hour, or by hand every few days."""

    evaporation_l_d: float = number(0, 1e5)
    kind: Literal["fresh_water", "limewater"] = "fresh_water"
    by_hand_every_days: int = number(0, 30, 0)
    recorded_every_days: int = number(1, 60, 7)
    strength_share: float = number(0, 1.2, 0.8)
    """Strength of limewater as a share of saturation (40.6 meq/L), and how it wanders."""
    strength_drift: float = number(0, 0.3, 0.01)
    strength_return_days: float = number(1, 1e4, 20.0)
    volume_error: float = number(0, 0.5, 0.02)
    standstill: Standstill | None = None
    salt_lost: Rate | None = None
    """Litres a day of the system's own water that leave, as with wet skimmate, and that the top-off makes up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterChange:
    """Drain, then fill. The errors are drawn once a run (bucket) and once a batch (the new water's alkalinity)."""

    first_day: float = number(0, 1e4)
    every_days: float = number(1, 1e4)
    volume_l: float = number(0.1, 1e7)
    volume_error: float = number(0, 0.5, 0.05)
    alkalinity_meq_l: float = number(0, 10, 2.6)
    alkalinity_error: float = number(0, 0.5, 0.03)
    calcium_mg_l: float = number(0, 1000, 430.0)
    magnesium_mg_l: float = number(0, 3000, 1330.0)
    salinity: float = number(0, 45, 35.0)
    nitrate_mg_l: float = number(0, 500, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """Water that runs in and out all day (flow-through, pumped change)."""

    litres_per_day: float = number(0, 1e7)
    flow_error: float = number(0, 0.5, 0.05)
    alkalinity_meq_l: float = number(0, 10, 2.4)
    alkalinity_error: float = number(0, 0.5, 0.03)
    calcium_mg_l: float = number(0, 1000, 415.0)
    magnesium_mg_l: float = number(0, 3000, 1300.0)
    salinity: float = number(0, 45, 35.0)
    nitrate_mg_l: float = number(0, 500, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """How the keeper re-sets pump or reactor: every so many days, from the last tests, towards a level."""

    target_meq_l: float = number(0.5, 8, 2.85)
    every_days: int = number(0, 365, 7)
    """0: the setting is never touched."""
    horizon_days: float = number(1, 100, 10.0)
    largest_step: float = number(0, 1, 0.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dosing:
    """A pump that doses alkalinity evenly, with calcium beside it; the record does not know its calibration error."""

    rate_meq_d: float = number(0, 1e7)
    """At the start, for the scenario's demand; a run that begins with more demand begins with that much more."""
    calibration_error: float = number(0, 0.5, 0.05)
    carbon_per_meq: float = number(0, 1, 1.0)
    calcium_per_meq: float = number(0, 1, 0.5)
    keeping: Keeping = field(default_factory=Keeping)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clogging:
    """The drip loses a share of its flow between cleanings; the depth is drawn anew each time."""

    depth: Span = (0.2, 0.4)
    clean_every_days: int = number(1, 365, 14)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cylinder:
    """The gas supply on a scale; swapped for a full one on the days named."""

    tare_kg: float = number(0, 200)
    """As stamped; the two errors are the sds of each cylinder's own difference from it and from its nominal fill."""
    tare_error_kg: float = number(0, 1, 0.0)
    charge_kg: float = number(0.1, 100)
    charge_error_kg: float = number(0, 1, 0.0)
    at_start_kg: float = number(0, 100)
    swap_days: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reactor:
    """A chamber of aragonite media fed with CO2 that drips into the system."""

    chamber_l: float = number(0.5, 5000)
    drip_l_d: float = number(0.1, 1e5)
    """At the start, for the scenario's demand; a run that begins with another demand begins in proportion."""
    mode: Literal["constant_gas", "ph_controlled"] = "constant_gas"
    gas_g_d: float = number(0, 1e5)
    """Fed when constant; the most the valve can pass when pH-controlled."""
    chamber_ph: float = number(5.5, 8, 6.6)
    vented_share: float = number(0, 0.9, 0.0)
    media_kg: float = number(0.1, 1e4)
    """When filled; on a refill day the old media go and as much of new ones comes in."""
    media_share_at_start: float = number(0.01, 1, 1.0)
    refill_days: tuple[float, ...] = ()
    media_rate_per_hour: float = number(0.01, 0.4, 0.15)
    flow_error: float = number(0, 0.5, 0.0)
    """Of the drip really set against the intended one, which is what a set-point records."""
    effluent_alkalinity_meq_l: float = number(2, 40, 8.5)
    """Where the chamber starts."""
    bubbles_per_gram: float = number(100, 1e5, 9000.0)
    bubble_drift: float = number(0, 0.2, 0.0)
    """Relative, a square root of a day: the counter's bubbles change in size, and return within two months or so."""
    clogging: Clogging | None = None
    cylinder: Cylinder | None = None
    leak: Loss | None = None
    """Of what the cylinder loses, between it and the bubble counter: neither bubbles nor water know of it."""
    venting: Loss | None = None
    """Of what passes the bubble counter, besides `vented_share`: the water gets less."""
    gas_loss: Loss | None = None
    """Of the gas that is let in, bubbles and all: a needle valve that creeps shut."""
    drip_loss: Loss | None = None
    """Of the drip, until somebody cleans a line that nobody cleans."""
    media_ageing: Loss | None = None
    """Of the media's dissolution rate: coated, silted or channelled."""
    keeping: Keeping = field(default_factory=Keeping)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """One addition by hand at a day drawn between two bounds; the record may not know of it."""

    between_days: Span
    alkalinity_meq_l: float = number(-3, 3)
    recorded: bool
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """From a day on the kit reads with another bias, in the unit of the quantity."""

    code: str
    from_day: float = number(0, 1e4)
    from_day_spread: float = number(0, 1e3, 0.0)
    """The day is drawn between `from_day` and so much later."""
    bias_sd: float = number(0, 100, 0.0)
    """Of a bias that every lot has."""
    bias: float = number(-100, 100, 0.0)
    """Of a bad lot, besides: from its first day on, or growing over so many days. The sign may be drawn too."""
    grows_over_days: float = number(0, 1e4, 0.0)
    either_sign: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckStandard:
    """A solution of stated value that is read with the same kit and lot every so many days."""

    stated: float = number(0, 1e4)
    error_relative: float = number(0, 0.1, 0.005)
    """sd of the true value against the stated one, once a run."""
    first_day: int = number(0, 10000, 0)
    every_days: int = number(1, 365)
    replicates: int = number(1, 5, 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Test:
    """How a quantity is measured: when, by what method, how well it is said to be and how well it is."""

    quantity: Quantity
    method: str
    sd: float = number(0, 1000, 0.0)
    sd_relative: float = number(0, 1, 0.0)
    noise_factor: float = number(0, 10, 1.0)
    """True sd over the stated one."""
    systematic_relative: float = number(0, 0.5, 0.0)
    reads_high: Span = (0.0, 0.0)
    outlier_probability: float = number(0, 1, 0.0)
    outlier_size: Span = (0.4, 1.2)
    resolution: float = number(0, 100, 0.0)
    replicates: int = number(1, 5, 1)
    first_day: int = number(0, 10000, 0)
    every_days: tuple[int, int] = number(1, 365)
    hour: int = number(0, 23, 10)
    hour_spread: float = number(0, 8, 0.7)
    gaps: tuple[Span, ...] = ()
    lot: tuple[Lot, ...] = ()
    degassed: Degassed | None = None
    off: Offset | None = None
    misread: Misread | None = None
    check_standard: CheckStandard | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """A probe read every hour: noise and a slow drift since its last calibration."""

    quantity: Literal["ph", "temperature"]
    sd: float = number(0, 1)
    drift_per_root_day: float = number(0, 0.1, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Maintenance:
    """Work somebody does and records."""

    kind: Literal["predetermined", "condition_based", "corrective", "inspection", "calibration"]
    what: str
    subject: Literal["system", "reactor", "cylinder", "probe", "pump", "top_off"] = "system"
    first_day: float = number(0, 1e4)
    every_days: float = number(1, 1e4, 1e4)
    until_day: float = number(0, 1e4, 1e4)
    """Afterwards it is forgotten."""


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """One body of water with all that acts on it."""

    code: str
    name: str = ""
    water: Water
    corals: Corals
    air: Air = field(default_factory=Air)
    top_off: TopOff | None = None
    water_change: tuple[WaterChange, ...] = ()
    exchange: Exchange | None = None
    dosing: Dosing | None = None
    reactor: Reactor | None = None
    dose: tuple[Dose, ...] = ()
    precipitation: Rate | None = None
    """meq/L/d that leave as calcium carbonate, beside the corals."""
    test: tuple[Test, ...] = ()
    probe: tuple[Probe, ...] = ()
    maintenance: tuple[Maintenance, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what the hourly step cannot carry and what nobody could measure."""
        volume = self.water.volume_l
        if any(change.volume_l > 0.7 * volume for change in self.water_change):
            raise ScenarioError("water_change.volume_l takes more than seven tenths of water.volume_l: lower it")
        if self.exchange and self.exchange.litres_per_day > 2.0 * volume:
            raise ScenarioError("exchange.litres_per_day is more than twice water.volume_l: lower it")
        if self.top_off and self.top_off.evaporation_l_d * max(self.top_off.by_hand_every_days, 1) > 0.3 * volume:
            raise ScenarioError("top_off lets more than three tenths of water.volume_l evaporate: refill more often")
        if self.top_off and self.top_off.standstill:
            if self.top_off.by_hand_every_days:
                raise ScenarioError("top_off.standstill needs a top-off that runs by itself: drop by_hand_every_days")
            if self.top_off.evaporation_l_d * self.top_off.standstill.days > 0.3 * volume:
                raise ScenarioError("top_off.standstill lets more than three tenths of water.volume_l evaporate")
        if self.reactor and self.reactor.drip_l_d / 24.0 > self.reactor.chamber_l:
            raise ScenarioError("reactor.drip_l_d empties the chamber within the hour: lower it or enlarge chamber_l")
        needs_reactor = {
            "effluent_alkalinity", "effluent_ph", "effluent_flow", "bubble_rate", "cylinder_gross_mass", "media_level",
        }  # fmt: skip
        for test in self.test:
            if test.quantity in needs_reactor and self.reactor is None:
                raise ScenarioError(f"test of {test.quantity} needs a reactor")
            if test.quantity == "cylinder_gross_mass" and self.reactor and self.reactor.cylinder is None:
                raise ScenarioError("test of cylinder_gross_mass needs reactor.cylinder")
            if test.quantity == "limewater_strength" and (self.top_off is None or self.top_off.kind != "limewater"):
                raise ScenarioError('test of limewater_strength needs top_off.kind = "limewater"')


@dataclass(frozen=True, slots=True, kw_only=True)
class GasLine:
    """Cylinders, one at a time on a scale, that the reactors of several systems draw from."""

    code: str
    feeds: tuple[str, ...]
    """Codes of these systems"""
    cylinder: Cylinder
    weighing: Test
    leak: Loss | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A site over some days."""

    title: str
    story: str = ""
    days: int = number(1, 3650)
    system: tuple[System, ...]
    gas_line: tuple[GasLine, ...] = ()

    def __post_init__(self) -> None:
        """Refuse two things of one code, whose random numbers would be the same, and a gas line to nowhere."""
        codes = [system.code for system in self.system]
        if not codes or len(set(codes)) < len(codes):
            raise ScenarioError("every scenario needs at least one system, each with its own code")
        codes += [line.code for line in self.gas_line]
        if len(set(codes)) < len(codes):
            raise ScenarioError("every gas_line needs a code of its own, apart from those of the systems")
        reactors = {system.code: system.reactor for system in self.system if system.reactor}
        fed = [code for line in self.gas_line for code in line.feeds]
        for code in fed:
            reactor = reactors.get(code)
            if reactor is None or reactor.cylinder or reactor.leak or fed.count(code) > 1:
                raise ScenarioError(
                    f"gas_line.feeds: {code} must be a system with a reactor on this line alone, without a cylinder or "
                    "leak of its own"
                )
        if any(line.weighing.quantity != "cylinder_gross_mass" for line in self.gas_line):
            raise ScenarioError("gas_line.weighing must be a test of cylinder_gross_mass")
