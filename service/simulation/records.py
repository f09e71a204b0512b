"""What comes out of a simulation: the truth, what people recorded of it, and what only the simulator knows."""

from dataclasses import dataclass

from service.simulation.chemistry import Values


@dataclass(frozen=True, slots=True)
class Reading:
    """One recorded value. `taken_at` in days; `sd` as the method is stated, in the unit of the value."""

    quantity: str
    value: float
    unit: str
    taken_at: float
    subject: str
    """system, reactor, cylinder or top_off"""
    method: str
    sd: float
    lot: str | None = None
    purpose: str = "sample"
    """sample, replicate (of the sample before it) or check_standard"""
    stated: float | None = None
    """What the check standard is said to hold, in the unit of the value"""


@dataclass(frozen=True, slots=True)
class Addition:
    """One recorded addition, from `start` to `end` in days (equal: at once).

    kind `dose`: amount in meq; `media`: kg that a chamber was filled with anew; `limewater`, `fresh_water`,
    `water_change`, `exchange`: amount in L and, where it brings any, `alkalinity_meq_l` as recorded. `relative_sd` is
    the stated uncertainty of the amount, `strength_sd` (relative) that of the alkalinity: the defaults of practice, not
    this run's true errors.
    """

    kind: str
    start: float
    end: float
    amount: float
    unit: str
    relative_sd: float
    alkalinity_meq_l: float | None = None
    strength_sd: float = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True)
class SetPoint:
    """An intended value from an instant on: dosing_rate (meq/d), effluent_flow (L/d), water_volume (L), target_*."""

    code: str
    at: float
    value: float
    unit: str
    subject: str
    reason: str = ""


@dataclass(frozen=True, slots=True)
class MaintenanceEvent:
    """Work that was done and recorded."""

    kind: str
    what: str
    at: float
    subject: str


@dataclass(frozen=True, slots=True)
class StockChange:
    """Corals that came or went, as recorded."""

    at: float
    note: str


@dataclass(frozen=True, slots=True)
class ProbeSeries:
    """A probe's hourly values: days and values, shape (hours) each."""

    quantity: str
    unit: str
    taken_at: Values
    value: Values
    sd: float


@dataclass(frozen=True, slots=True)
class Recorded:
    """Everything an estimator may see of a system, each list in order of time."""

    water_volume_l: float
    readings: tuple[Reading, ...]
    check_standards: tuple[Reading, ...]
    """Apart from the readings: they are not about the water"""
    additions: tuple[Addition, ...]
    set_points: tuple[SetPoint, ...]
    maintenance: tuple[MaintenanceEvent, ...]
    stock_changes: tuple[StockChange, ...]
    probes: tuple[ProbeSeries, ...]

    def of(self, quantity: str) -> tuple[Reading, ...]:
        """Return the readings of one quantity, in order of time."""
        return tuple(reading for reading in self.readings if reading.quantity == quantity)


@dataclass(frozen=True, slots=True)
class Truth:
    """The true course, hour by hour, shape (hours) each; `at` in days, values at the start of each hour."""

    at: Values
    alkalinity: Values
    """meq/L"""
    demand: Values
    """What corals and bacteria take, meq/L/d of true water, mean of the 24 hours around: what is estimated."""
    uptake: Values
    """The same hour by hour, with the light."""
    calcium: Values
    """mg/L"""
    magnesium: Values
    """mg/L"""
    nitrate: Values
    """mg/L NO3"""
    carbon: Values
    """Dissolved inorganic carbon, mmol/L"""
    salinity: Values
    temperature: Values
    """degC"""
    ph: Values
    """NBS"""
    saturation: Values
    """Of aragonite"""
    volume: Values
    """L"""
    dosing_rate: Values
    """meq/d that really arrives"""
    limewater: Values
    """meq/L of the top-off water, 0 without limewater"""
    drip: Values
    """L/d; 0 without a reactor, as all below"""
    effluent_alkalinity: Values
    effluent_ph: Values
    gas_used: Values
    """g since the start that passed the bubble counter"""
    gas_vented: Values
    """g of it that did not dissolve"""
    gas_leaked: Values
    """g that the cylinder lost besides"""
    media: Values
    """kg"""


@dataclass(frozen=True, slots=True)
class Unrecorded:
    """Something that happened and nobody wrote down."""

    what: str
    at: float
    size: float
    """meq/L for an addition, a factor for a demand step"""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that went wrong from a day on and was not written down.

    `what`: gas leak, gas vented, gas falls, drip loss, media ageing, kit drift, instrument off, misread, degassed
    samples, top-off standstill, salt lost, more food, precipitation, unrecorded addition, unrecorded demand step.
    `size`: the share lost (of samples: standing open; of a misread scale: gained), a bias in the unit of `quantity`,
    days, meq/L, a factor, of water lost litres a day, of food and precipitation meq/L/d; in full after `over_days`.
    """

    what: str
    at: float
    size: float
    quantity: str | None = None
    over_days: float = 0.0
    until: float | None = None


@dataclass(frozen=True, slots=True)
class Labels:
    """What only the simulator knows, for an oracle: never shown to an estimator."""

    outliers: frozenset[int]
    """Indexes into `Recorded.readings`"""
    degassed: frozenset[int]
    """Indexes of the effluent samples that had stood open"""
    faults: tuple[Fault, ...]
    """All that went wrong within the record, in order of time; empty: any finding is a false one"""
    unrecorded: tuple[Unrecorded, ...]
    demand_steps: tuple[float, ...]
    """Days at which the demand really stepped, recorded or not"""
    noise_sd: dict[str, float]
    """True sd of one sound reading by quantity (its mean over the record where it is relative)"""
    drift_sd: float
    """True local sd of the demand, meq/L/d a square root of a day, at the mean demand"""
    true_volume_l: float
    factors: dict[str, float]
    """True over recorded value where the error is constant: dosing, volume, water_change, readings by quantity"""
    tare_errors_kg: tuple[float, ...] = ()
    """True less stamped tare of each cylinder in the order they hung on the line"""


@dataclass(frozen=True, slots=True)
class SimulatedSystem:
    """One system of one run."""

    code: str
    name: str
    truth: Truth
    recorded: Recorded
    labels: Labels
    flows: dict[str, Values]
    """What crossed the boundary over the whole run by term, shape (6): see `SOLUTES` in service.simulation.basin"""
    stock_at_start: Values
    stock_at_end: Values
    gas: dict[str, float]
    """Where the gas of the whole run went, g: dissolved, vented, leaked; empty without a reactor"""


@dataclass(frozen=True, slots=True)
class SimulatedGasLine:
    """One gas line that several reactors hang on."""

    code: str
    feeds: tuple[str, ...]
    """Codes of the systems whose reactors hang on it"""
    weighings: tuple[Reading, ...]
    """Of the cylinder that hung there then"""
    swaps: tuple[float, ...]
    """Days"""
    lost_g: Values
    """What its cylinders have lost since the start, hour by hour"""
    gross_mass_kg: Values
    """True mass on the scale, hour by hour"""
    outliers: frozenset[int]
    """Indexes into `weighings`"""
    faults: tuple[Fault, ...]
    tare_errors_kg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SimulatedSite:
    """One run of a scenario."""

    scenario: str
    seed: int
    days: int
    systems: tuple[SimulatedSystem, ...]
    gas_lines: tuple[SimulatedGasLine, ...] = ()
