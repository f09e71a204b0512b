"""The water of a tank as calculations take it, and pH as an electrode can read it."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from service.http.shapes import Amount, Number, Shape
from service.resources.keeping.amounts import amount_in, refused
from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.units import UnitError, convert

ELECTRODE = (3.0, 12.0)
MOST_PCO2_ATM = 1.0
MOST_LITRES = 1e9
EFFLUENT_BELOW_TANK = (
    "The effluent must hold more alkalinity than the tank: were the two samples exchanged, or is the unit another?"
)


def _as_read(ph: float) -> float:
    least, most = ELECTRODE
    if not least <= ph <= most:
        raise ValueError(
            f"A glass electrode in NBS buffers reads pH {least:g} to {most:g} in such water: check buffers, probe and "
            "cable, and read again."
        )
    return ph


ElectrodePh = Annotated[
    Number, AfterValidator(_as_read), Field(description="By electrode in NBS buffers, pH 3 to 12.", examples=[8.1])
]
Celsius = Annotated[Number, Field(ge=0, le=40)]
Salinity = Annotated[Number, Field(ge=5, le=45)]
BoronFactor = Annotated[Number, Field(gt=0, le=20)]
RelativeSd = Annotated[Number, Field(gt=0, lt=1)]


class VolumeSent(Shape):
    """A net water volume and, if known, its relative standard deviation."""

    value: Number
    unit: str = Field(min_length=1, max_length=40, examples=["L"])
    relative_sd: RelativeSd | None = None

    def litres(self, pointer: str) -> float:
        """In litres. Raises Unacceptable naming the field."""
        return amount_within(Amount(value=self.value, unit=self.unit), "L", pointer=pointer, above=0, most=MOST_LITRES)


def mol_kg_of(sent: Amount, pointer: str, *, salinity: float, temperature_c: float) -> float:
    """An alkalinity above zero, by volume or by mass, in mol/kg. Raises Unacceptable naming the field."""
    try:
        value = float(convert(sent.value, unit=sent.unit, to="mol/kg", salinity=salinity, temperature_c=temperature_c))
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), sent.unit) from error
    if not 0 < value < 0.1:
        raise refused(f"{pointer}/value", "An alkalinity above 0 and below 100 meq/L is expected.", sent.value)
    return value


def refuse_impossible(
    pointer: str, *, alkalinity_mol_kg: float, ph_nbs: float, salinity: float, temperature_c: float, boron_factor: float
) -> None:
    """Raise Unacceptable for a pH that no open tank of this alkalinity has: no carbon gives it, or too much would."""
    state = carbonate_system(
        alkalinity_mol_kg=alkalinity_mol_kg,
        ph_total=ph_total_from_nbs(ph_nbs=ph_nbs, salinity=salinity, temperature_c=temperature_c),
        salinity=salinity,
        temperature_c=temperature_c,
        boron_factor=boron_factor,
    )
    if not float(state.dic_mol_kg) > 0:
        detail = "No water of this alkalinity has so high a pH, whatever carbon it holds: check both, and the units."
        raise refused(pointer, detail, ph_nbs)
    if not float(state.pco2_atm) <= MOST_PCO2_ATM:
        detail = (
            "At this alkalinity so low a pH would take more than an atmosphere of CO2, which no open tank holds: check "
            "both, and the units."
        )
        raise refused(pointer, detail, ph_nbs)


def amount_within(
    amount: Amount, unit: str, *, pointer: str, most: float, least: float | None = None, above: float | None = None
) -> float:
    """As amount_in, with a largest value that is refused by name, too."""
    value = amount_in(amount, unit, pointer=pointer, least=least, above=above)
    if value > most:
        raise refused(f"{pointer}/value", f"At most {most:g} {unit} is expected: check the unit.", amount.value)
    return value
