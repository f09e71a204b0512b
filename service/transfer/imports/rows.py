"""From a row of cells to drafts of records, or to what is wrong with it. A row is taken whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping as Words
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from service.science.quantities import QUANTITIES
from service.science.units import UnknownUnit, unit_named
from service.transfer.imports import headings
from service.transfer.imports.cells import (
    Cell,
    CellError,
    is_missing,
    number,
    text_of,
)
from service.transfer.imports.files import Row
from service.transfer.imports.guessing import Understood
from service.transfer.imports.headings import Heading
from service.transfer.imports.instants import InstantReader
from service.transfer.imports.mapping import LONG_ONLY, ColumnUse, all_have_subjects
from service.transfer.imports.open_row import CellFault, OpenRow
from service.transfer.imports.subjects import Subjects

CONTENT = ("reading", "value", "note", "maintenance", "water_change", "dose")
PURPOSES = ("sample", "replicate", "blank", "check_standard")


@dataclass(frozen=True)
class Draft:
    """A record as it would be sent, and the column behind each of its fields."""

    kind: str
    content: dict[str, Any]
    columns: dict[str, str]


@dataclass(frozen=True)
class Reading:
    """A row as it was read: drafts of its records, or faults; and the cells, with what was filled down."""

    number: int
    cells: dict[str, Cell]
    drafts: tuple[Draft, ...] = ()
    faults: tuple[CellFault, ...] = ()
    remarks: tuple[str, ...] = ()
    is_blank: bool = False


class RowReader:
    """Reads the rows of one table in order: what is filled down comes from the rows above."""

    def __init__(self, understood: Understood, subjects: Subjects, zone: ZoneInfo) -> None:
        self._headers = understood.headers
        self._mapping = understood.mapping
        self._uses = {use.column: use for use in understood.mapping.columns or []}
        self._by_use: dict[str, list[ColumnUse]] = {}
        for use in understood.mapping.columns or []:
            self._by_use.setdefault(use.use, []).append(use)
        self._subjects = subjects
        self._instants = InstantReader(understood.mapping, self._by_use, zone)
        self._above: dict[str, Cell] = {}

    def read(self, row_number: int, row: Row) -> Reading:
        """What a row says. Raises nothing: every fault of it is in the answer."""
        cells: dict[str, Cell] = {
            name: row[place] if place < len(row) else None for place, name in enumerate(self._headers)
        }
        if not any(text_of(cell) for cell in row):
            return Reading(row_number, cells, is_blank=True)
        this = OpenRow(cells, self._filled(cells))
        drafts = self._drafts(this, row)
        faults = tuple(this.faults)
        return Reading(row_number, cells, () if faults else tuple(drafts), faults, tuple(this.remarks))

    def _filled(self, cells: dict[str, Cell]) -> dict[str, str]:
        """Fill blanks from above; the uses that were filled, by column."""
        inferred: dict[str, str] = {}
        for name in self._mapping.fill_down:
            if not self._is_missing(cells.get(name)):
                self._above[name] = cells[name]
            elif name in self._above:
                cells[name] = self._above[name]
                use = self._uses[name].use if name in self._uses else "ignore"
                inferred[name] = use
        return inferred

    def _is_missing(self, cell: Cell) -> bool:
        return is_missing(cell, self._mapping.missing)

    def _drafts(self, this: OpenRow, row: Row) -> list[Draft]:
        surplus = [text_of(cell) for cell in row[len(self._headers) :] if text_of(cell)]
        if surplus:
            this.faults.append(CellFault(None, "more cells than headings: is a delimiter inside a text?", surplus[0]))
            return []
        if not self._holds_anything(this):
            this.faults.append(
                CellFault(None, "nothing to record: every cell that could hold a reading or note is empty")
            )
            return []
        inferred: set[str] = set(this.inferred.values()) - {"ignore"}
        at = self._instants.read(this, inferred)
        subject_id = self._subject(this)
        common = _Common(at, subject_id, self._text(this, "observer"), sorted(inferred))
        drafts = [*self._long(this, common), *self._wide(this, common), *self._additions(this, common)]
        drafts += self._events(this, common)
        if inferred:
            this.remarks.append(f"inferred: {', '.join(sorted(inferred))}")
        if not drafts and not this.faults:
            this.faults.append(CellFault(None, "nothing to record: the row holds no reading and no note"))
        return drafts

    def _holds_anything(self, this: OpenRow) -> bool:
        columns = [use.column for kind in CONTENT for use in self._by_use.get(kind, [])]
        columns += [use.column for use in self._by_use.get("time", []) if use.otherwise == "note"]
        return any(not self._is_missing(this.cells.get(name)) for name in columns)

    def _subject(self, this: OpenRow) -> UUID | None:
        if all_have_subjects(self._mapping):
            return None
        use = next(iter(self._by_use.get("subject", [])), None)
        text = text_of(this.cells[use.column]) if use else ""
        try:
            if use is None or not text:
                if self._mapping.subject is None:
                    raise CellError("it is not said what the row is about: a tag is expected")
                return self._subjects.named(self._mapping.subject)
            return self._subjects.named(text)
        except CellError as error:
            this.refuse(use.column if use else None, error)
            return None

    def _text(self, this: OpenRow, use: str) -> str | None:
        """The words of the columns of one use, commas evened out."""
        texts = [text_of(this.cells[column.column]) for column in self._by_use.get(use, [])]
        words = [word.strip() for text in texts for word in text.split(",")]
        return ", ".join(word for word in words if word and word not in self._mapping.missing) or None

    def _wide(self, this: OpenRow, common: _Common) -> list[Draft]:
        drafts = []
        for use in self._by_use.get("reading", []):
            cell = this.cells[use.column]
            if self._is_missing(cell):
                continue
            value = self._number(this, use.column)
            own = self._own_subject(this, common, use)
            if value is not None and own is not None and own.is_whole:
                drafts.append(self._reading(this, own, use, str(use.quantity), value, str(use.unit)))
        return drafts

    def _own_subject(self, this: OpenRow, common: _Common, use: ColumnUse) -> _Common | None:
        """What the row's records share, about the column's own subject if it has one."""
        if use.subject is None:
            return common
        try:
            return replace(common, subject_id=self._subjects.named(use.subject))
        except CellError as error:
            this.refuse(use.column, error)
            return None

    def _long(self, this: OpenRow, common: _Common) -> list[Draft]:
        if self._mapping.form != "long":
            return []
        parts: dict[str, ColumnUse] = {use.use: use for use in self._mapping.columns or []}
        value_column = parts["value"].column
        if self._is_missing(this.cells[value_column]):
            return []
        value = self._number(this, value_column)
        quantity = self._quantity(this, parts["quantity"].column)
        unit = self._unit(this, parts.get("unit"), quantity) if quantity else None
        extra: dict[str, Any] = {
            name: text
            for name in ("method", "sample_point", "purpose")
            if name in parts and (text := text_of(this.cells[parts[name].column]))
        }
        if "purpose" in extra:
            extra["purpose"] = extra["purpose"].lower().replace(" ", "_")
            if extra["purpose"] not in PURPOSES:
                this.refuse(parts["purpose"].column, f"one of {', '.join(PURPOSES)} is expected")
        if value is None or quantity is None or unit is None or not common.is_whole:
            return []
        draft = self._reading(this, common, parts["value"], quantity, value, unit)
        columns = {**draft.columns, "quantity": parts["quantity"].column}
        for use in LONG_ONLY & parts.keys() - {"value", "quantity"}:
            columns[use] = parts[use].column
        return [Draft("reading", draft.content | extra, columns)]

    def _number(self, this: OpenRow, column: str) -> float | None:
        assert self._mapping.decimal is not None
        try:
            return number(this.cells[column], self._mapping.decimal)
        except CellError as error:
            this.refuse(column, error)
            return None

    def _quantity(self, this: OpenRow, column: str) -> str | None:
        text = text_of(this.cells[column])
        known = self._mapping.quantities.get(text) or (text if text in QUANTITIES else None)
        known = known or headings.quantity_in(Heading.of(text))
        if known is None:
            this.refuse(column, "no quantity known here is called so. Name it in the mapping's quantities")
        return known

    def _unit(self, this: OpenRow, use: ColumnUse | None, quantity: str) -> str | None:
        text = text_of(this.cells[use.column]) if use else ""
        found = self._mapping.units.get(text) or self._mapping.units.get(quantity) if text or use is None else None
        found = found or headings.UNIT_WORDS.get(quantity, {}).get(text.lower())
        if found is None and text:
            try:
                return unit_named(text).code
            except UnknownUnit:
                pass
        if found is None and not text:
            found = self._mapping.units.get(quantity) or ("[pH]" if quantity.endswith("ph") else None)
        if found is None:
            expected = "no unit known here is called so" if text else "the unit is not said"
            this.refuse(use.column if use else None, f"{expected}. Name it in the mapping's units")
        return found

    def _reading(self, this: OpenRow, common: _Common, use: ColumnUse, quantity: str, value: float, unit: str) -> Draft:
        remark = self._labelled(this, "remark")
        content = {
            "subject_id": str(common.subject_id),
            "quantity": quantity,
            "value": value,
            "unit": unit,
            "taken_at": common.time,
            "conditions": _plain(use.conditions),
            "method": use.method,
            "sample_point": use.sample_point,
            "purpose": use.purpose,
            "relative_sd": use.relative_sd,
            "observed_by": common.observer,
            "note": "\n".join(remark) or None,
            "inferred": common.inferred or None,
        }
        columns = {"value": use.column, "unit": use.column, "quantity": use.column, **self._shared_columns()}
        return Draft("reading", _without_nothing(content), columns)

    def _events(self, this: OpenRow, common: _Common) -> list[Draft]:
        """Notes as one inspection; maintenance as an event of its kind."""
        notes = [*self._labelled(this, "note"), *this.notes]
        texts = [("inspection", "\n".join(notes), self._first("note") or self._first("time"))] if notes else []
        for use in self._by_use.get("maintenance", []):
            if not self._is_missing(this.cells[use.column]):
                texts.append((use.kind or "corrective", text_of(this.cells[use.column]), use.column))
        if not common.is_whole:
            return []
        return [
            Draft(
                "maintenance_event",
                _without_nothing(
                    {
                        "subject_id": str(common.subject_id),
                        "kind": kind,
                        "performed_at": common.time,
                        "what": text,
                        "performed_by": common.observer,
                        "note": f"inferred: {', '.join(common.inferred)}" if common.inferred else None,
                    }
                ),
                {"what": column or "", **self._shared_columns()},
            )
            for kind, text, column in texts
        ]

    def _additions(self, this: OpenRow, common: _Common) -> list[Draft]:
        drafts = []
        for use in (*self._by_use.get("water_change", []), *self._by_use.get("dose", [])):
            if self._is_missing(this.cells[use.column]):
                continue
            value = self._number(this, use.column)
            if value is None or common.subject_id is None or common.at is None:
                continue
            try:
                system_id = self._subjects.system_of(common.subject_id, common.at)
            except CellError as error:
                this.refuse(use.column, error)
                continue
            content: dict[str, Any] = {"kind": use.use, "system_id": str(system_id), "added_by": common.observer}
            if common.inferred:
                content["note"] = f"inferred: {', '.join(common.inferred)}"
            amount = {"value": value, "unit": use.unit}
            if use.use == "water_change":
                content |= {"at": common.time, "volume": amount}
            else:
                end = common.at + timedelta(hours=use.hours or 0)
                content |= {"started_at": common.time, "ended_at": end.isoformat(), str(use.of): amount}
            if use.relative_sd is not None:
                content["relative_sd"] = use.relative_sd
            columns = {"volume": use.column, str(use.of): use.column, **self._shared_columns()}
            drafts.append(Draft("addition", _without_nothing(content), columns))
        return drafts

    def _labelled(self, this: OpenRow, use: str) -> list[str]:
        """The texts of the columns of one use; with more than one column, or as a remark, each after its heading."""
        columns = self._by_use.get(use, [])
        with_heading = len(columns) > 1 or use == "remark"
        return [
            f"{column.column}: {text}" if with_heading else text
            for column in columns
            if not self._is_missing(this.cells[column.column]) and (text := text_of(this.cells[column.column]))
        ]

    def _first(self, use: str) -> str | None:
        return next((column.column for column in self._by_use.get(use, [])), None)

    def _shared_columns(self) -> dict[str, str]:
        date = self._first("date_and_time") or self._first("date") or ""
        return {
            "taken_at": date,
            "performed_at": date,
            "at": date,
            "started_at": date,
            "subject_id": self._first("subject") or "",
            "system_id": self._first("subject") or "",
            "observed_by": self._first("observer") or "",
            "performed_by": self._first("observer") or "",
            "note": self._first("remark") or "",
        }


@dataclass(frozen=True)
class _Common:
    """What all records of a row share."""

    at: datetime | None
    subject_id: UUID | None
    observer: str | None
    inferred: list[str]

    @property
    def is_whole(self) -> bool:
        """Whether the row says when and about what."""
        return self.at is not None and self.subject_id is not None

    @property
    def time(self) -> str:
        """The instant with its offset, as it is sent."""
        assert self.at is not None
        return self.at.isoformat()


def _plain(conditions: Words[str, Any] | None) -> dict[str, Any] | None:
    if not conditions:
        return None
    return {name: each.model_dump() if hasattr(each, "model_dump") else each for name, each in conditions.items()}


def _without_nothing(content: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if value is not None}
