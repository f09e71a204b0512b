"""The water of a tank as calculations take it, and pH as an electrode can read it."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from service.http.shapes import Amount, Number, Shape
from service.resources.keeping.amounts import amount_in, refused
from service.science.units import UnitError, convert

ELECTRODE = (3.0, 12.0)
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
        return amount_in(Amount(value=self.value, unit=self.unit), "L", pointer=pointer, above=0)


def mol_kg_of(sent: Amount, pointer: str, *, salinity: float, temperature_c: float) -> float:
    """An alkalinity above zero, by volume or by mass, in mol/kg. Raises Unacceptable naming the field."""
    try:
        value = float(convert(sent.value, unit=sent.unit, to="mol/kg", salinity=salinity, temperature_c=temperature_c))
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), sent.unit) from error
    if not 0 < value < 0.1:
        raise refused(f"{pointer}/value", "An alkalinity above 0 and below 100 meq/L is expected.", sent.value)
    return value
