"""A row while it is read: its cells, what is wrong with them, and what is to be said of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.transfer.imports.cells import Cell, text_of


@dataclass(frozen=True)
class CellFault:
    """What is wrong with one cell (or, without a column, with the row)."""

    column: str | None
    detail: str
    sent: str | None = None

    def __str__(self) -> str:
        where = f"{self.column}: " if self.column else ""
        what = f" (got {self.sent!r})" if self.sent else ""
        return f"{where}{self.detail}{what}"


@dataclass
class OpenRow:
    """A row in the reading: what is known of it so far."""

    cells: dict[str, Cell]
    inferred: dict[str, str]
    faults: list[CellFault] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def refuse(self, column: str | None, error: object) -> None:
        """Remember what is wrong with a cell."""
        sent = None if column is None else text_of(self.cells.get(column))[:200] or None
        self.faults.append(CellFault(column, str(error), sent))
