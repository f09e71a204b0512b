"""What is stamped on or known of a piece of equipment, by its kind: strict shapes and what physics rules out."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Annotated, Any, Literal

from pydantic import Field, GetJsonSchemaHandler, ValidationError
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from service.errors import Fault, Unacceptable
from service.http.problems import faults_of
from service.http.shapes import Amount, Code, Flag, Line, Note, Shape, Whole
from service.resources.catalogue.lots.models import Day
from service.resources.keeping.amounts import amount_in, refused
from service.science.quantities import QUANTITIES
from service.science.units import UnitError, convert, unit_named

FILL_KG_L = 0.76  # just above the highest filling ratio in use for CO2, 0.75; 0.68 under 49 CFR 173.304a
MEDIA_KG_L = 2.0  # aragonite grains (2.93 kg/L) fill at most some two thirds of a chamber
TARE_KG_L = (0.2, 8.0)  # steel, aluminium and composite cylinders, with a wide margin (our judgement)


class OtherSpecification(Shape):
    """What may be said of any piece of equipment."""

    serial_number: Line | None = None
    note: Note | None = None


class ReactorSpecification(OtherSpecification):
    """A calcium reactor. `chamber_volume` is one chamber's, `media_mass` that of all chambers as filled, dry."""

    chambers: Annotated[Whole, Field(ge=1, le=6, description="Chambers in series.")] = 1
    chamber_volume: Amount | None = None
    media_kind: Literal["aragonite", "coral_rubble", "calcite", "dolomite", "mixed", "other"] | None = None
    media_mass: Amount | None = None
    operation_mode: Literal["constant_gas", "controlled_ph"] | None = None

    @property
    def volume_l(self) -> float | None:
        """All chambers together, empty."""
        one = _number(self.chamber_volume, "L")
        return None if one is None else self.chambers * one

    @property
    def media_kg(self) -> float | None:
        """The media of all chambers, as filled."""
        return _number(self.media_mass, "kg")


class CylinderSpecification(OtherSpecification):
    """A CO2 cylinder. `water_capacity` is a volume or, as some are stamped, the mass of water that fills it."""

    stamped_tare: Amount | None = None
    tare_includes: Line | None = Field(
        default=None, description="What the stamped tare counts: valve, cap, handle.", examples=["valve, no cap"]
    )
    water_capacity: Amount | None = None
    charge: Amount | None = Field(default=None, description="The mass of CO2 when full, without the cylinder.")
    dip_tube: Flag | None = Field(default=None, description="Whether a tube draws liquid from the bottom.")
    test_date: Day | None = Field(default=None, description="The last pressure test stamped.")
    test_due: Day | None = Field(default=None, description="When the next pressure test is due.")

    @property
    def tare_kg(self) -> float | None:
        """The empty cylinder."""
        return _number(self.stamped_tare, "kg")

    @property
    def capacity_l(self) -> float | None:
        """The inside. A kilogram of water counts as a litre (0.2 % off at 20 C)."""
        if self.water_capacity is None:
            return None
        is_mass = unit_named(self.water_capacity.unit).dimension == "mass"
        return _number(self.water_capacity, "kg" if is_mass else "L")

    @property
    def charge_kg(self) -> float | None:
        """The gas when full."""
        return _number(self.charge, "kg")


class RegulatorSpecification(OtherSpecification):
    """A CO2 regulator."""

    stages: Annotated[Whole, Field(ge=1, le=2)] | None = None


class ProbeSpecification(OtherSpecification):
    """A probe, and what it measures."""

    quantity: Code


class PumpSpecification(OtherSpecification):
    """A pump or dosing pump, and what it moves."""

    flow: Amount | None = None


class StirrerSpecification(OtherSpecification):
    """A limewater stirrer."""

    volume: Amount | None = None


class MonitorSpecification(OtherSpecification):
    """A gas monitor: what it measures, at what it sounds, until when its sensor is good."""

    quantity: Literal["room_co2", "oxygen"]
    alarm_set_points: Annotated[list[Amount], Field(max_length=6)] = []
    sensor_expires_on: Day | None = None


SPECIFICATIONS: dict[str, type[Shape]] = {
    "calcium_reactor": ReactorSpecification,
    "co2_cylinder": CylinderSpecification,
    "co2_regulator": RegulatorSpecification,
    "pump": PumpSpecification,
    "limewater_stirrer": StirrerSpecification,
    "dosing_pump": PumpSpecification,
    "probe": ProbeSpecification,
    "gas_monitor": MonitorSpecification,
    "controller": OtherSpecification,
    "other": OtherSpecification,
}


class _OneOfThem:
    """Tells readers of the API what a specification may be; which one applies is known only with the kind."""

    @classmethod
    def __get_pydantic_json_schema__(cls, _schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        shapes = dict.fromkeys(SPECIFICATIONS.values())
        return {"anyOf": [handler(shape.__pydantic_core_schema__) for shape in shapes]}


SpecificationSent = Annotated[dict[str, Any], _OneOfThem]


def checked(kind: str, content: dict[str, Any], *, at: datetime) -> dict[str, Any]:
    """A specification as stored: what was sent, as JSON values, once its kind's shape and physics allow it.

    Raises Unacceptable whose faults point into /specification.
    """
    try:
        specification = SPECIFICATIONS[kind].model_validate(content)
    except ValidationError as error:
        faults = tuple(
            Fault(f"/specification{fault.pointer}", fault.detail, fault.sent)
            for fault in faults_of(error.errors(), content, place="body")
        )
        raise Unacceptable(f"{faults[0].pointer}: {faults[0].detail} (for a {kind})", faults) from error
    check = _CHECKS.get(type(specification))
    if check is not None:
        check(specification, at)
    return specification.model_dump(mode="json", exclude_unset=True, exclude_none=True)


def of_kind(kind: str, stored: dict[str, Any]) -> Any:
    """A stored specification in the shape of its kind."""
    return SPECIFICATIONS[kind].model_validate(stored)


def _number(amount: Amount | None, unit: str) -> float | None:
    return None if amount is None else float(convert(amount.value, unit=amount.unit, to=unit))


def _above_zero(amount: Amount | None, unit: str, name: str) -> None:
    if amount is not None:
        amount_in(amount, unit, pointer=f"/specification/{name}", above=0)


def _check_reactor(reactor: ReactorSpecification, _at: datetime) -> None:
    _above_zero(reactor.chamber_volume, "L", "chamber_volume")
    _above_zero(reactor.media_mass, "kg", "media_mass")
    volume, media = reactor.volume_l, reactor.media_kg
    if volume is not None and media is not None and media > MEDIA_KG_L * volume:
        raise refused(
            "/specification/media_mass",
            f"{media:g} kg of media do not fit into {volume:g} L ({reactor.chambers} x one chamber): at most "
            f"{MEDIA_KG_L:g} kg/L do. Check the units, and that chamber_volume is that of one whole chamber.",
            reactor.media_mass and reactor.media_mass.value,
        )


def _check_cylinder(cylinder: CylinderSpecification, at: datetime) -> None:
    _above_zero(cylinder.stamped_tare, "kg", "stamped_tare")
    _above_zero(cylinder.charge, "kg", "charge")
    _above_zero(cylinder.water_capacity, _capacity_unit(cylinder.water_capacity), "water_capacity")
    if cylinder.capacity_l is not None:
        _check_charge(cylinder, cylinder.capacity_l)
        _check_tare(cylinder, cylinder.capacity_l)
    _check_test(cylinder, at.date())


def _capacity_unit(amount: Amount | None) -> str:
    try:
        return "kg" if amount is not None and unit_named(amount.unit).dimension == "mass" else "L"
    except UnitError:
        return "L"  # amount_in refuses the unit and names the ones it takes


def _check_charge(cylinder: CylinderSpecification, capacity_l: float) -> None:
    charge = cylinder.charge_kg
    if charge is not None and charge > FILL_KG_L * capacity_l:
        raise refused(
            "/specification/charge",
            f"{charge:g} kg is more CO2 than a cylinder of {capacity_l:g} L may hold: at most 0.68 to 0.75 kg/L are "
            "filled. Send the mass of the gas alone, without the cylinder, and check the units of charge and "
            "water_capacity. If they are right the cylinder is overfilled: leave it alone and call the gas supplier.",
            cylinder.charge and cylinder.charge.value,
        )


def _check_tare(cylinder: CylinderSpecification, capacity_l: float) -> None:
    tare, (least, most) = cylinder.tare_kg, TARE_KG_L
    if tare is not None and not least * capacity_l <= tare <= most * capacity_l:
        raise refused(
            "/specification/stamped_tare",
            f"An empty cylinder of {capacity_l:g} L weighs {least * capacity_l:.3g} to {most * capacity_l:.3g} kg. "
            "Check the units of stamped_tare and water_capacity.",
            cylinder.stamped_tare and cylinder.stamped_tare.value,
        )


def _check_test(cylinder: CylinderSpecification, today: date) -> None:
    tested = cylinder.test_date
    if tested is not None and tested > today + timedelta(days=1):
        raise refused(
            "/specification/test_date",
            "The last pressure test cannot lie ahead. Send the date stamped; when the next is due goes into test_due.",
            tested.isoformat(),
        )
    if tested is not None and cylinder.test_due is not None and cylinder.test_due <= tested:
        raise refused("/specification/test_due", "A date after test_date is expected.", cylinder.test_due.isoformat())


def _check_probe(probe: ProbeSpecification, _at: datetime) -> None:
    if probe.quantity not in QUANTITIES:
        raise refused(
            "/specification/quantity",
            f"Not a quantity known here. Known: {', '.join(QUANTITIES)}.",
            probe.quantity,
        )


def _check_pump(pump: PumpSpecification, _at: datetime) -> None:
    _above_zero(pump.flow, "L/d", "flow")


def _check_stirrer(stirrer: StirrerSpecification, _at: datetime) -> None:
    _above_zero(stirrer.volume, "L", "volume")


def _check_monitor(monitor: MonitorSpecification, _at: datetime) -> None:
    quantity = QUANTITIES[monitor.quantity]
    low, high = quantity.possible
    for index, set_point in enumerate(monitor.alarm_set_points):
        pointer = f"/specification/alarm_set_points/{index}"
        value = amount_in(set_point, quantity.unit, pointer=pointer)
        if not low < value < high:
            raise refused(
                f"{pointer}/value", f"Between {low:g} and {high:g} {quantity.unit} is expected.", set_point.value
            )


_CHECKS: dict[type[Shape], Callable[[Any, datetime], None]] = {
    ReactorSpecification: _check_reactor,
    CylinderSpecification: _check_cylinder,
    ProbeSpecification: _check_probe,
    PumpSpecification: _check_pump,
    StirrerSpecification: _check_stirrer,
    MonitorSpecification: _check_monitor,
}
