"""The life of a record: recorded once under its own id, confirmed when sent again, corrected, withdrawn; never lost.

Every kind of record (readings, additions, set-points, maintenance events, stock changes) lives by these actions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import Any, Generic, TypeVar, get_type_hints
from uuid import UUID, uuid5

from pydantic import Field as PydanticField
from pydantic import ValidationError, create_model
from sqlalchemy import ForeignKeyConstraint, Index
from sqlmodel import Field, Session, SQLModel, col, select

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault, KeyReused, NotFound, Unacceptable
from service.http.conditional import require_version
from service.http.problems import faults_of
from service.http.shapes import Note, Shape
from service.resources.keeping.kept import Kept, KeptRow, note
from service.storage.trail import Change
from service.storage.types import Document, Identifier, Instant, digest, instant

RECORDED, WITHDRAWN = "recorded", "withdrawn"


class RecordRow(KeptRow):
    """The columns that every record has beside its own."""

    site_id: UUID = Field(sa_type=Identifier)
    subject_id: UUID = Field(sa_type=Identifier)
    at: datetime = Field(sa_type=Instant)
    state: str = Field(default=RECORDED, max_length=16)
    entered: Any = Field(sa_type=Document)
    sent_digest: bytes = Field(max_length=32)
    recorded_at: datetime = Field(sa_type=Instant)
    recorded_by: UUID = Field(sa_type=Identifier)
    changed_at: datetime | None = Field(default=None, sa_type=Instant)
    changed_by: UUID | None = Field(default=None, sa_type=Identifier)
    correction_reason: str | None = None


class RecordVersion(SQLModel, table=True):
    """A version that was replaced, as it was shown then."""

    __tablename__ = "record_versions"

    record_id: UUID = Field(primary_key=True, sa_type=Identifier)
    kind: str = Field(primary_key=True, max_length=32)  # senders make the ids: two kinds may bear the same
    version: int = Field(primary_key=True)
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier, index=True)
    body: Any = Field(sa_type=Document)
    replaced_at: datetime = Field(sa_type=Instant)


class RecordRead(Shape):
    """What every record's answer carries beside its content."""

    id: UUID
    version: int
    state: str = Field(description="recorded or withdrawn")
    site_id: UUID
    recorded_at: datetime
    recorded_by: UUID = Field(description="The person or token that sent it.")
    changed_at: datetime | None = Field(description="When this version replaced the one before; null for the first.")
    changed_by: UUID | None = Field(description="Who corrected or withdrew; null for the first.")
    correction_reason: str | None = Field(description="Why this version replaced the one before; null for the first.")


Record = TypeVar("Record", bound=RecordRow)


@dataclass(frozen=True)
class RecordKind(Generic[Record]):
    """A kind of record: its shapes, and how what is sent becomes columns.

    `columns(work, sent)` checks what was sent against what is described (raising Unacceptable, NotFound, ...) and gives
    `site_id`, `subject_id`, `at` and the kind's own columns. `topic` names the column that lists filter by.
    `follows(work, row)` does what else a new record brings about. `keeps(work, row)` refuses a change that the kind
    does not bear. A kind that is not `is_corrected` has no corrections: it changes by actions of its own.
    """

    kept: Kept[Record]
    singular: str
    plural: str
    sent: type[Shape]
    read: type[Shape]
    columns: Callable[[Work, Any], dict[str, Any]]
    topic: str
    follows: Callable[[Work, Any], None] | None = None
    keeps: Callable[[Work, Any], None] | None = None
    is_corrected: bool = True

    @property
    def path(self) -> str:
        """The path under /v1."""
        return "/" + self.plural.replace("_", "-")

    @cached_property
    def correction(self) -> type[Shape]:
        """The shape of a correction: a reason, and the fields to replace, each as strict as when first sent."""
        fields: dict[str, Any] = {
            name: (hint | None, PydanticField(default=None, alias=self.sent.model_fields[name].alias))
            for name, hint in get_type_hints(self.sent, include_extras=True).items()
            if name in self.sent.model_fields and name not in {"id", "reason"}
        }
        name = f"{self.sent.__name__.removesuffix('Sent')}Correction"
        return create_model(name, __base__=Shape, reason=(Note, ...), **fields)


def record_constraints(table: str, *columns: str) -> tuple[Any, ...]:
    """The constraints of a record's table: its subject on its own site, and the indexes that lists and courses use."""
    return (
        ForeignKeyConstraint(["site_id", "subject_id"], ["subjects.site_id", "subjects.id"]),
        Index(f"ix_{table}_subject_id_at", "subject_id", *columns, "at"),
        Index(f"ix_{table}_site_id_at", "site_id", "at"),
    )


def record_body(row: RecordRow) -> dict[str, Any]:
    """What every record shows: what was entered, and how it came to be what it is."""
    return {
        **row.entered,
        "id": row.id,
        "version": row.version,
        "state": row.state,
        "site_id": row.site_id,
        "recorded_at": row.recorded_at,
        "recorded_by": row.recorded_by,
        "changed_at": row.changed_at,
        "changed_by": row.changed_by,
        "correction_reason": row.correction_reason,
    }


def id_from_key(work: Work, sent: Shape, key: str | None, *, index: int = 0) -> UUID:
    """The id of a record sent by POST: its own, else one that the caller's Idempotency-Key always leads to.

    Raises Unacceptable when neither is there: such a record could be stored twice.
    """
    own: UUID | None = getattr(sent, "id", None)
    if own is not None:
        return own
    if key is None:
        detail = "Send an id (a UUID made by you) or an Idempotency-Key header, so that a repeat is recognised."
        raise Unacceptable(detail, (Fault("/id", detail),))
    return uuid5(work.caller.id, f"{index}:{key.strip().strip(chr(34))}")


def recorded(
    work: Work, kind: RecordKind[Record], record_id: UUID, sent: Shape, *, key_used: bool = False
) -> tuple[Record, bool]:
    """The record under this id and whether it is new. The same content again confirms it, whatever it became since.

    Raises Conflict (KeyReused when the id came from a key) for other content under a known id, NotFound for an unknown
    subject, NotAllowed without the right on its site.
    """
    known = work.session.get(kind.kept.table, record_id)
    if known is not None:
        return _confirmed(work, kind, known, _entered(sent), key_used=key_used), False
    return recorded_anew(work, kind, record_id, sent), True


def recorded_anew(work: Work, kind: RecordKind[Record], record_id: UUID, sent: Shape) -> Record:
    """A record under an id that is known to be free."""
    columns = kind.columns(work, sent)
    work.caller.require(Right.RECORD, columns["site_id"])
    row = kind.kept.table(
        id=record_id,
        version=1,
        state=RECORDED,
        entered=_entered(sent),
        sent_digest=digest(_comparable(sent)),
        recorded_at=work.at,
        recorded_by=work.caller.id,
        **columns,
    )
    work.session.add(row)
    if kind.follows is not None:
        kind.follows(work, row)
    return row


def record_one(
    work: Work, kind: RecordKind[Record], record_id: UUID, sent: Shape, *, key_used: bool = False
) -> tuple[Record, bool]:
    """As `recorded`, with its own entry in the trail."""
    row, is_new = recorded(work, kind, record_id, sent, key_used=key_used)
    if is_new:
        work.session.flush()
        note(work, kind.kept, row, "recorded")
    return row, is_new


def corrected(work: Work, kind: RecordKind[Record], record_id: UUID, sent: Any, if_match: str | None) -> Record:
    """The record after a correction: a new version, the old one kept. Raises Conflict on a withdrawn record."""
    row = _open_for_change(work, kind, record_id, if_match)
    changes = _entered(sent, only_set=True)
    why = changes.pop("reason")
    entered = {name: value for name, value in {**row.entered, **changes}.items() if value is not None}
    if entered == row.entered:
        raise Unacceptable("Nothing in this correction differs from what stands. Send the fields that change.")
    columns = kind.columns(work, _validated(kind, {**entered, "id": record_id}, confirm=getattr(sent, "confirm", None)))
    if columns["site_id"] != row.site_id:
        detail = "A correction stays on the record's own site. Withdraw it and record it anew there."
        raise Unacceptable(detail, (Fault("/subject_id", detail),))
    before = _replace(work, kind, row, why)
    row.entered = entered
    for name, value in columns.items():
        setattr(row, name, value)
    return _noted(work, kind, row, "corrected", before)


def withdrawn(work: Work, kind: RecordKind[Record], record_id: UUID, why: str, if_match: str | None) -> Record:
    """The record after its withdrawal: kept and shown, no longer counted in any answer."""
    row = _open_for_change(work, kind, record_id, if_match)
    before = _replace(work, kind, row, why)
    row.state = WITHDRAWN
    return _noted(work, kind, row, "withdrawn", before)


def withdrawn_together(work: Work, kind: RecordKind[Record], rows: Sequence[Record], why: str) -> list[Change]:
    """The changes of a withdrawal of many records at once; whoever asks enters them, and has checked the right."""
    for row in rows:
        _replace(work, kind, row, why)
        row.state = WITHDRAWN
    work.session.flush()
    return [kind.kept.change(row, "withdrawn") for row in rows]


def found(work: Work, kind: RecordKind[Record], record_id: UUID) -> Record:
    """One record within the caller's scope. Raises NotFound, also for another site's."""
    row = work.session.get(kind.kept.table, record_id)
    if row is None or row.site_id not in work.scope:
        raise NotFound(f"There is no {kind.singular.replace('_', ' ')} with this id.")
    return row


def versions(work: Work, kind: RecordKind[Record], record_id: UUID) -> list[dict[str, Any]]:
    """Every version of a record, the first first."""
    row = found(work, kind, record_id)
    old = (
        select(RecordVersion.body)
        .where(RecordVersion.record_id == record_id, RecordVersion.kind == kind.singular)
        .order_by(col(RecordVersion.version))
    )
    return [*work.session.exec(old), kind.kept.body(row)]


def listed(
    session: Session, kind: RecordKind[Record], *, conditions: Sequence[Any], after: tuple[int, UUID] | None, limit: int
) -> Sequence[Record]:
    """Up to `limit` records that meet the conditions, the newest first."""
    table: Any = kind.kept.table
    statement = select(table).where(*conditions).order_by(col(table.at).desc(), col(table.id).desc()).limit(limit)
    if after is not None:
        at, record_id = instant(after[0]), after[1]
        statement = statement.where((table.at < at) | ((table.at == at) & (table.id < record_id)))
    return session.exec(statement).all()


def _confirmed(
    work: Work, kind: RecordKind[Record], known: Record, entered: dict[str, Any], *, key_used: bool
) -> Record:
    found(work, kind, known.id)
    work.caller.require(Right.RECORD, known.site_id)
    if known.sent_digest == digest(_comparable(_validated(kind, entered))):
        return known
    if key_used:
        raise KeyReused("This Idempotency-Key came before with other content. Use a new key for a new record.")
    raise Conflict(
        f"Another {kind.singular.replace('_', ' ')} stands under this id. A repeat must be the same to the letter; "
        f"to change it, POST to /v1{kind.path}/{known.id}/corrections."
    )


def _open_for_change(work: Work, kind: RecordKind[Record], record_id: UUID, if_match: str | None) -> Record:
    row = found(work, kind, record_id)
    work.session.refresh(row, with_for_update=True)  # of two at once the second waits, and sees the first
    work.caller.require_correction_of(
        recorded_by=row.recorded_by, recorded_at=row.recorded_at, site_id=row.site_id, at=work.at
    )
    require_version(if_match, row.version)
    if row.state == WITHDRAWN:
        raise Conflict("This was withdrawn. Record it anew under a new id.")
    if kind.keeps is not None:
        kind.keeps(work, row)
    return row


def advanced(work: Work, kind: RecordKind[Record], row: Record, action: str, change: Callable[[], None]) -> Record:
    """The record after an action of its own kind: a new version, the old one kept, entered into the trail."""
    before = _keep_version(work, kind, row)
    row.version += 1
    change()
    work.session.flush()
    note(work, kind.kept, row, action, before=before)
    return row


def _replace(work: Work, kind: RecordKind[Record], row: Record, why: str) -> dict[str, Any]:
    before = _keep_version(work, kind, row)
    row.version += 1
    row.changed_at, row.changed_by, row.correction_reason = work.at, work.caller.id, why
    return before


def _keep_version(work: Work, kind: RecordKind[Record], row: Record) -> dict[str, Any]:
    before = kind.kept.body(row)
    work.session.add(
        RecordVersion(
            record_id=row.id,
            version=row.version,
            site_id=row.site_id,
            kind=kind.singular,
            body=before,
            replaced_at=work.at,
        )
    )
    return before


def _noted(work: Work, kind: RecordKind[Record], row: Record, action: str, before: dict[str, Any]) -> Record:
    work.session.flush()
    note(work, kind.kept, row, action, before=before, why=row.correction_reason)
    return row


def _entered(sent: Shape, *, only_set: bool = False) -> dict[str, Any]:
    """What was sent, as JSON values; times keep the offset they came with."""
    return sent.model_dump(
        mode="json", exclude={"id", "confirm"}, by_alias=True, exclude_none=not only_set, exclude_unset=True
    )


def _comparable(sent: Shape) -> dict[str, Any]:
    """The content that decides whether two sendings are the same: times as instants, unset as absent."""
    content: dict[str, Any] = _in_utc(sent.model_dump(exclude={"id", "confirm"}, exclude_none=True, exclude_unset=True))
    return content


def _in_utc(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    if isinstance(value, dict):
        return {key: _in_utc(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_in_utc(part) for part in value]
    return value


def _validated(kind: RecordKind[Any], entered: dict[str, Any], *, confirm: bool | None = None) -> Shape:
    try:
        return kind.sent.model_validate(entered if confirm is None else {**entered, "confirm": confirm})
    except ValidationError as error:
        faults = faults_of(error.errors(), entered, place="body")
        raise Unacceptable(f"After this correction: {faults[0].pointer} {faults[0].detail}", faults) from error
