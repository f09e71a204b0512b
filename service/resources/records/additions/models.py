"""An addition: what was put into a system (or its reactor), when, and how much of it.

Kept as entered and in canonical units, so that computations never convert again.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import model_validator
from sqlmodel import Field

from service.http.shapes import Amount, Flag, Id, Line, Note, Number, Shape, Time
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.additions.kinds import KINDS
from service.resources.records.fields import refuse_fields
from service.storage.types import Document, Instant

AdditionKind = Literal["dose", "water_change", "top_off", "exchange", "salt", "media"]
ExchangeMode = Literal["drained", "simultaneous"]
Liquid = Literal["fresh_water", "limewater"]
RelativeSd = Annotated[
    Number, ShapeField(ge=0, lt=1, description="How well the amount is known, as a fraction of it; one sd.")
]


class NewWater(Shape):
    """What is known of the water that came in, and how well. Alkalinity and ions per litre, salinity practical.

    `relative_sd` holds for its alkalinity and ions; left out, common practice (3 %).
    """

    alkalinity: Amount | None = None
    calcium: Amount | None = None
    magnesium: Amount | None = None
    salinity: Amount | None = None
    relative_sd: RelativeSd | None = None


class AdditionSent(Shape):
    """An addition as sent; `kind` says which fields belong to it.

    dose: `system_id`, `started_at`, `ended_at?`, total amounts `alkalinity?`, `calcium?`, `magnesium?` (at least one),
    spread evenly. water_change: `system_id`, `at`, `volume`, `new_water?`, `mode?` (left out: drained before filling).
    top_off: `system_id`, `started_at`, `ended_at`, `volume`, `liquid`, `strength?` (limewater only). exchange, running
    on until `ended_at` if at all: `system_id`, `started_at`, `ended_at?`, `flow`, `new_water?`. salt: `system_id`,
    `at`, `mass`. media: `reactor_id`, `at`, `mass`, `batch?`, `replaces?` (the old media was taken out).
    """

    id: Id | None = None
    kind: AdditionKind
    system_id: Id | None = None
    reactor_id: Id | None = None
    at: Time | None = None
    started_at: Time | None = None
    ended_at: Time | None = None
    alkalinity: Amount | None = None
    calcium: Amount | None = None
    magnesium: Amount | None = None
    volume: Amount | None = None
    new_water: NewWater | None = None
    mode: ExchangeMode | None = None
    liquid: Liquid | None = None
    strength: Amount | None = None
    flow: Amount | None = None
    mass: Amount | None = None
    batch: Line | None = None
    replaces: Flag | None = None
    relative_sd: RelativeSd | None = None
    added_by: Line | None = None
    note: Note | None = None
    confirm: Flag = False

    @model_validator(mode="after")
    def _fields_of_its_kind(self) -> AdditionSent:
        sent = {name: getattr(self, name) for name in self.model_fields_set}
        refuse_fields("AdditionSent", KINDS[self.kind].faults(self.kind, sent))
        return self

    @property
    def begins_at(self) -> datetime:
        """When it was done, or began."""
        begins = self.at or self.started_at
        assert begins is not None, "the validator asks for one of them"
        return begins


class AdditionRead(RecordRead):
    """An addition as it stands; `canonical` holds its amounts in the units that computations use."""

    kind: str
    subject_id: UUID
    system_id: UUID | None
    reactor_id: UUID | None
    at: Time | None
    started_at: Time | None
    ended_at: Time | None
    alkalinity: Amount | None
    calcium: Amount | None
    magnesium: Amount | None
    volume: Amount | None
    new_water: NewWater | None
    mode: str | None
    liquid: str | None
    strength: Amount | None
    flow: Amount | None
    mass: Amount | None
    batch: str | None
    replaces: bool | None
    relative_sd: float | None
    added_by: str | None
    note: str | None
    canonical: dict[str, Amount]
    flagged: bool = ShapeField(description="Implausible, and confirmed when it was entered.")


class Addition(RecordRow, table=True):
    """The stored row: `at` is when it was done or began, `canonical` its content in canonical units.

    Keys of `canonical` by kind, null where not stated: dose `alkalinity_meq, calcium_mg, magnesium_mg`; water_change
    `volume_l, mode` and top_off `volume_l, liquid, strength_meq_per_l`; exchange `flow_l_per_day`; both with new water
    `alkalinity_meq_per_l, calcium_mg_per_l, magnesium_mg_per_l, salinity, new_water_relative_sd`; salt `mass_kg`; media
    `mass_kg, batch, replaces`.
    """

    __tablename__ = "additions"
    __table_args__ = record_constraints("additions", "kind")

    kind: str = Field(max_length=16)
    ended_at: datetime | None = Field(default=None, sa_type=Instant)
    canonical: Any = Field(sa_type=Document)
    relative_sd: float | None = None
    flagged: bool = False


AMOUNTS = {
    "alkalinity_meq": ("alkalinity", "meq"),
    "calcium_mg": ("calcium", "mg"),
    "magnesium_mg": ("magnesium", "mg"),
    "alkalinity_meq_per_l": ("alkalinity", "meq/L"),
    "calcium_mg_per_l": ("calcium", "mg/L"),
    "magnesium_mg_per_l": ("magnesium", "mg/L"),
    "salinity": ("salinity", "1"),
    "volume_l": ("volume", "L"),
    "flow_l_per_day": ("flow", "L/d"),
    "strength_meq_per_l": ("strength", "meq/L"),
    "mass_kg": ("mass", "kg"),
}
WORDS = ("mode", "liquid", "batch", "replaces")
NOT_SENT = dict.fromkeys(set(AdditionSent.model_fields) - {"id", "confirm"})


def body(row: Addition) -> dict[str, Any]:
    """An addition's answer."""
    return {
        **NOT_SENT,
        **record_body(row),
        **{word: row.canonical[word] for word in WORDS if word in row.canonical},
        "kind": row.kind,
        "subject_id": row.subject_id,
        "relative_sd": row.relative_sd,
        "canonical": {
            AMOUNTS[key][0]: {"value": value, "unit": AMOUNTS[key][1]}
            for key, value in row.canonical.items()
            if key in AMOUNTS and value is not None
        },
        "flagged": row.flagged,
    }


ADDITION = register(Kept("addition", Addition, body))
