"""The hourly course of one system, in many runs at once: every array below is of shape (runs) or (6, runs)."""

from dataclasses import dataclass

import numpy as np

from service.simulation import chemistry
from service.simulation.basin import (
    ALKALINITY,
    ARAGONITE,
    BICARBONATE,
    CALCIUM,
    CARBON,
    CARBON_DIOXIDE,
    LIMEWATER,
    NITRIFIED,
    SALT,
    SOLUTES,
    Basin,
    Ledger,
    column,
    skeleton,
)
from service.simulation.chemistry import (
    CALCIUM_MG_PER_MMOL,
    MAGNESIUM_MG_PER_MMOL,
    NITRATE_MG_PER_MMOL,
    Constants,
    Values,
)
from service.simulation.forcing import (
    GAS_LEAK,
    GAS_LOSS,
    GAS_VENTED,
    MEDIA_AGEING,
    MORE_FOOD,
    PRECIPITATION,
    SALT_LOST,
    TOP_OFF_STANDSTILL,
    Forcing,
    forcing,
)
from service.simulation.gas_line import Cylinders
from service.simulation.keeper import Notebook, due
from service.simulation.measurement import Known, Sampling, sampling
from service.simulation.reactor import HOUR, Chamber
from service.simulation.scenario import System, WaterChange
from service.simulation.streams import Streams

TRACES = ("uptake", "saturation", "ph", "volume", "dosing_rate", "topped_up")
REACTOR_TRACES = (
    "set_drip",
    "drip",
    "effluent_alkalinity",
    "effluent_ph",
    "gas_used",
    "gas_vented",
    "gas_leaked",
    "gas_fed",
    "media",
)


@dataclass(frozen=True, slots=True)
class Change:
    """A water change as it happened: litres and concentrations, (runs) and (6, runs)."""

    spec: WaterChange
    hour: int
    litres: Values
    water: Values


@dataclass(slots=True)
class Course:
    """All runs of one system: hourly truth at the start of each hour, what was drawn, and what crossed the boundary."""

    system: System
    forcing: Forcing
    samplings: tuple[tuple[Sampling, ...], ...]
    concentration: Values
    """(hours, 6, runs)"""
    trace: dict[str, Values]
    """(hours, runs) each, by the names in TRACES and REACTOR_TRACES"""
    ledger: Ledger
    stock_at_start: Values
    """(6, runs), system and chamber"""
    stock_at_end: Values
    changes: list[Change]
    pump_factor: Values
    """True dose over recorded dose, (runs)"""
    settings: list[tuple[int, str, Values]]
    """(hour, code, value (runs)) of every change of pump or drip"""
    chamber: Chamber | None
    """As it is at the end"""
    cylinders: Cylinders | None


def run(system: System, days: int, streams: Streams) -> Course:
    """Return the course of a system over some days, one run a seed."""
    return _Run(system, days, streams).course()


class _Run:
    """The state of all runs and the processes of one hour, one method each."""

    def __init__(self, system: System, days: int, streams: Streams) -> None:
        self.system, self.streams = system, streams
        self.hours, self.runs = 24 * days, len(streams.seeds)
        self.force = forcing(system, days, streams)
        self.samplings = tuple(sampling(test, index, days, streams) for index, test in enumerate(system.test))
        self.known = Known.of(
            tuple(each for each in self.samplings if each[0].test.quantity == "alkalinity"), self.hours, self.runs
        )
        self.ledger, self.notes = Ledger(self.runs), Notebook.empty(self.runs)
        self._fill()
        self._hang_pumps()
        self.changes = [change for spec in enumerate(system.water_change) for change in self._planned(*spec)]
        reactor_traces = REACTOR_TRACES if self.chamber else ()
        self.ageing, self.venting, self.leak = map(self._losses, (MEDIA_AGEING, GAS_VENTED, GAS_LEAK))
        self.shutting = self._losses(GAS_LOSS)
        self.feeding, self.snow, self.losing = map(self._losses, (MORE_FOOD, PRECIPITATION, SALT_LOST))
        standstill = self.force.fault(TOP_OFF_STANDSTILL)
        self.standing = standstill.course(self.hours) > 0.0 if standstill else None
        self.trace = {name: np.zeros((self.hours, self.runs)) for name in (*TRACES, *reactor_traces)}
        self.concentration = np.zeros((self.hours, len(SOLUTES), self.runs))
        self.settings: list[tuple[int, str, Values]] = []

    def _losses(self, what: str) -> Values | None:
        """Return the share lost, or the rate, hour by hour, (hours, runs), if the scenario has that fault."""
        fault = self.force.fault(what)
        return fault.course(self.hours) if fault else None

    def _fill(self) -> None:
        water, ones = self.system.water, np.ones(self.runs)
        self.constants = self._constants(0, water.salinity * ones)
        self.hydrogen = chemistry.hydrogen_at(water.ph_nbs * ones, self.constants)
        start = np.stack(
            [
                water.alkalinity_meq_l * ones,
                chemistry.carbon_at(water.alkalinity_meq_l * ones, self.hydrogen, self.constants),
                water.calcium_mg_l / CALCIUM_MG_PER_MMOL * ones,
                water.magnesium_mg_l / MAGNESIUM_MG_PER_MMOL * ones,
                water.salinity * ones,
                water.nitrate_mg_l / NITRATE_MG_PER_MMOL * ones,
            ]
        )
        self.basin = Basin(start * self.force.volume_l, self.force.volume_l.copy())
        self.chamber: Chamber | None = None
        if self.system.reactor:
            error = self.system.reactor.flow_error * self.streams.normal("drip")
            self.chamber = Chamber.started(self.system.reactor, start, self.constants, 1.0 + error)
            if self.system.corals.demand_meq_l_d > 0.0:
                self.chamber.turn(self.force.demand[0] / self.system.corals.demand_meq_l_d)
        self.stock_at_start = self._stock()

    def _hang_pumps(self) -> None:
        dosing, exchange = self.system.dosing, self.system.exchange
        more = (self.force.demand[0] - self.system.corals.demand_meq_l_d) * self.system.water.volume_l
        self.dose_rate = np.maximum(dosing.rate_meq_d + more, 0.0) if dosing else np.zeros(self.runs)
        self.pump_factor = 1.0 + (dosing.calibration_error if dosing else 0.0) * self.streams.normal("pump")
        if exchange:
            alkalinity = 1.0 + exchange.alkalinity_error * self.streams.normal("exchange alkalinity")
            self.exchange_l_d = exchange.litres_per_day * (1.0 + exchange.flow_error * self.streams.normal("exchange"))
            self.exchange_water = self._new_water(exchange, exchange.alkalinity_meq_l * alkalinity)

    def _new_water(self, spec: object, alkalinity: Values) -> Values:
        """Return the concentrations of new water that stands open to the outside air (420 ppm), shape (6, runs)."""
        names = ("calcium_mg_l", "magnesium_mg_l", "salinity", "nitrate_mg_l")
        calcium, magnesium, salinity, nitrate = (getattr(spec, name) for name in names)
        constants = chemistry.constants_at(np.full(self.runs, max(salinity, 5.0)), np.full(self.runs, 25.0))
        low, high = np.full(self.runs, 6.0), np.full(self.runs, 9.5)
        for _ in range(50):
            middle = 0.5 * (low + high)
            hydrogen = chemistry.hydrogen_at(middle, constants)
            carbon = chemistry.carbon_at(alkalinity, hydrogen, constants)
            co2, _ = chemistry.co2_and_carbonate(carbon, hydrogen, constants)
            sour = co2 > 420e-6 * constants.co2_per_atm
            low, high = np.where(sour, middle, low), np.where(sour, high, middle)
        ones = np.ones(self.runs)
        return np.stack(
            [
                alkalinity,
                np.maximum(carbon, 0.0),
                calcium / CALCIUM_MG_PER_MMOL * ones,
                magnesium / MAGNESIUM_MG_PER_MMOL * ones,
                salinity * ones,
                nitrate / NITRATE_MG_PER_MMOL * ones,
            ]
        )

    def _planned(self, index: int, spec: WaterChange) -> list[Change]:
        days = np.arange(spec.first_day, self.hours / 24.0, spec.every_days)
        bucket = 1.0 + spec.volume_error * self.streams.normal(f"bucket {index}")
        batch = 1.0 + spec.alkalinity_error * self.streams.normal(f"new water {index}", len(days))
        return [
            Change(spec, round(day * 24), spec.volume_l * bucket, self._new_water(spec, spec.alkalinity_meq_l * error))
            for day, error in zip(days, batch, strict=True)
            if round(day * 24) < self.hours
        ]

    def _constants(self, hour: int, salinity: Values) -> Constants:
        """Return the constants of this day: salinity now, temperature as the day's mean."""
        day = self.force.temperature[hour : hour + 24]
        # row by row: numpy's own mean adds in an order that depends on how many runs lie beside each other
        return chemistry.constants_at(salinity, sum(day, np.zeros(self.runs)) / len(day))

    def _stock(self) -> Values:
        stock = self.basin.contents.copy()
        return stock if self.chamber is None else stock + self.chamber.concentration * self.chamber.spec.chamber_l

    def course(self) -> Course:
        """Run all hours."""
        changes = {change.hour: [each for each in self.changes if each.hour == change.hour] for change in self.changes}
        for hour in range(self.hours):
            water = self.basin.concentrations()
            if hour % 24 == 0:
                self.constants = self._constants(hour, water[SALT])
            self.hydrogen = chemistry.follow_hydrogen(self.hydrogen, water[ALKALINITY], water[CARBON], self.constants)
            self._observe(hour, water)
            self._act(hour, changes.get(hour, []))
            self._flow(hour)
        cylinder = self.system.reactor.cylinder if self.system.reactor else None
        return Course(
            system=self.system,
            forcing=self.force,
            samplings=self.samplings,
            concentration=self.concentration,
            trace=self.trace,
            ledger=self.ledger,
            stock_at_start=self.stock_at_start,
            stock_at_end=self._stock(),
            changes=self.changes,
            pump_factor=self.pump_factor,
            settings=self.settings,
            chamber=self.chamber,
            cylinders=Cylinders.drawn(cylinder, self.streams) if cylinder else None,
        )

    def _observe(self, hour: int, water: Values) -> None:
        """Note the truth at the start of the hour and let the keeper test."""
        self.concentration[hour] = water
        self.trace["ph"][hour] = chemistry.ph_nbs(self.hydrogen, self.constants)
        self.trace["volume"][hour] = self.basin.volume
        self.notes.write(water[ALKALINITY] * self.known.factor[hour] + self.known.error[hour], hour / 24.0)
        if self.chamber:
            self.trace["effluent_alkalinity"][hour] = self.chamber.concentration[ALKALINITY]
            self.trace["effluent_ph"][hour] = chemistry.ph_nbs(self.chamber.hydrogen, self.constants)
            self.trace["gas_used"][hour] = self.chamber.gas_used_g
            self.trace["gas_vented"][hour] = self.chamber.gas_vented_g
            self.trace["gas_leaked"][hour] = self.chamber.gas_leaked_g
            self.trace["media"][hour] = self.chamber.media_kg

    def _act(self, hour: int, changes: list[Change]) -> None:
        """Do what people do at this hour: doses, water changes, new settings, a refill."""
        for index, dose in enumerate(self.force.doses):
            now = dose.hour == hour
            if now.any():
                amount = BICARBONATE * (now * dose.alkalinity_meq_l * self.basin.volume)
                self.basin.contents = self.basin.contents + self.ledger.book(f"dose {index}", amount)
        for change in changes:
            self.ledger.book("water change out", self.basin.drain(change.litres))
            self.ledger.book("water change in", self.basin.fill(change.litres, change.water))
        self._reset_dosing(hour)
        self._reset_reactor(hour)
        by_hand = self.system.top_off.by_hand_every_days if self.system.top_off else 0
        if by_hand and hour % (24 * by_hand) == 9:
            self._top_up(hour, self.force.volume_l - self.basin.volume)

    def _reset_dosing(self, hour: int) -> None:
        dosing = self.system.dosing
        if dosing is None:
            return
        if due(dosing.keeping, hour):
            most = dosing.keeping.largest_step * np.maximum(self.dose_rate, 0.1 * self.system.water.volume_l)
            change = self.notes.wanted_change(dosing.keeping) * self.system.water.volume_l
            self.dose_rate = np.maximum(self.dose_rate + np.minimum(np.maximum(change, -most), most), 0.0)
            self.settings.append((hour, "dosing_rate", self.dose_rate))
        self.trace["dosing_rate"][hour] = self.dose_rate

    def _reset_reactor(self, hour: int) -> None:
        chamber = self.chamber
        if chamber is None:
            return
        keeping = chamber.spec.keeping
        if self.ageing is not None:
            chamber.activity = 1.0 - self.ageing[hour]
        if self.venting is not None:
            chamber.kept_share = (1.0 - chamber.spec.vented_share) * (1.0 - self.venting[hour])
        if self.shutting is not None:
            chamber.open_share = 1.0 - self.shutting[hour]
        if self.leak is not None:
            chamber.leak = self.leak[hour]
        if any(round(day * 24) == hour for day in chamber.spec.refill_days):
            chamber.media_kg = np.full(self.runs, chamber.spec.media_kg)
        if due(keeping, hour):
            gain = chamber.concentration[ALKALINITY] - self.basin.contents[ALKALINITY] / self.basin.volume
            supply = np.maximum(chamber.drip_l_d * gain, 1.0)
            change = self.notes.wanted_change(keeping) * self.system.water.volume_l / supply
            scale = 1.0 + np.minimum(np.maximum(change, -keeping.largest_step), keeping.largest_step)
            chamber.turn(scale)
            self.settings.append((hour, "effluent_flow", chamber.drip_l_d / chamber.flow_factor))
        self.trace["set_drip"][hour] = chamber.drip_l_d / chamber.flow_factor
        self.trace["drip"][hour] = chamber.drip_l_d * self.force.clear[hour]
        self.trace["gas_fed"][hour] = chamber.gas_mmol_d * chamber.open_share

    def _flow(self, hour: int) -> None:
        """Let an hour pass: all rates are those at its start but for the chamber, which is solved exactly."""
        water = self.basin.concentrations()
        change = self._biology(hour, water) + self._air(hour, water)
        if self.snow is not None:
            lost = self.snow[hour] * self.basin.volume * HOUR
            change = change + self.ledger.book("precipitation", -ARAGONITE * lost)
        if self.system.dosing:
            dosing = self.system.dosing
            dose = column(1.0, dosing.carbon_per_meq, dosing.calcium_per_meq)
            change = change + self.ledger.book("dosing", dose * (self.dose_rate * self.pump_factor * HOUR))
        if self.system.exchange:
            litres = self.exchange_l_d * HOUR
            change = change + self.ledger.book("exchange", (self.exchange_water - water) * litres)
        if self.chamber:
            drip = self.trace["drip"][hour]
            change = change + self.chamber.hour(water, drip, self.constants, self.ledger)
        self.basin.contents = self.basin.contents + change
        if self.system.top_off:
            evaporated = self.system.top_off.evaporation_l_d * HOUR
            self.basin.volume = self.basin.volume - evaporated
            if self.standing is not None:
                missing = np.maximum(self.force.volume_l - self.basin.volume, 0.0)
                self._top_up(hour, np.where(self.standing[hour], 0.0, missing))
            elif not self.system.top_off.by_hand_every_days:
                self._top_up(hour, np.full(self.runs, evaporated))
            if self.losing is not None:
                litres = self.losing[hour] * HOUR
                self.ledger.book("water lost", self.basin.drain(litres))
                self._top_up(hour, litres)

    def _biology(self, hour: int, water: Values) -> Values:
        """Return what corals and bacteria take out in this hour."""
        corals, light = self.system.corals, self.force.light[hour % 24]
        _, carbonate = chemistry.co2_and_carbonate(water[CARBON], self.hydrogen, self.constants)
        saturation = water[CALCIUM] * carbonate / self.constants.aragonite
        answer = np.maximum(1.0 + corals.saturation_response * (saturation - corals.reference_saturation), 0.0)
        answer = answer * np.minimum(np.maximum(saturation - 0.5, 0.0), 1.0)  # sick below 1.5, nothing below 0.5
        of_the_hour = 1.0 - corals.light_share + corals.light_share * light
        calcification = self.force.demand[hour] * answer * of_the_hour  # meq/L/d of the true volume at the start
        volume = self.basin.volume
        taken = -skeleton(corals.magnesium_share) * (calcification * volume * HOUR)
        nitrified = corals.nitrification_meq_l_d + (0.0 if self.feeding is None else self.feeding[hour])
        net_growth = -self.system.air.photosynthesis_mmol_l_d * (light - 1.0)
        grown = CARBON_DIOXIDE * (net_growth * volume * HOUR)
        self.trace["saturation"][hour] = saturation
        self.trace["uptake"][hour] = calcification + nitrified
        return (
            self.ledger.book("calcification", taken)
            + self.ledger.book("nitrification", NITRIFIED * (nitrified * volume * HOUR))
            + self.ledger.book("photosynthesis and respiration", grown)
        )

    def _air(self, hour: int, water: Values) -> Values:
        """Return the CO2 the room gives in this hour (negative: takes)."""
        air = self.system.air
        co2, _ = chemistry.co2_and_carbonate(water[CARBON], self.hydrogen, self.constants)
        lacking = air.room_co2_ppm * 1e-6 * self.constants.co2_per_atm - co2
        given = CARBON_DIOXIDE * (air.gas_exchange_per_hour * lacking * self.basin.volume)
        return self.ledger.book("gas exchange", given)

    def _top_up(self, hour: int, litres: Values) -> None:
        """Pour top-off water in; limewater brings alkalinity and calcium, fresh water nothing."""
        self.ledger.book("top-off", self.basin.fill(litres, LIMEWATER * self.force.limewater[hour]))
        self.trace["topped_up"][hour] += litres
