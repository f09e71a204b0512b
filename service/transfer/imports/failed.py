"""The file of failed rows: as they came, an error column behind them, ready to be mended and imported again."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from service.http.tables import line
from service.transfer.imports.cells import Cell, Decimal, text_of
from service.transfer.imports.mapping import Mapping

ERROR = "error"


class FailedRows:
    """Lines of CSV under the table's own headings; the mapping of the table reads them again."""

    def __init__(self, mapping: Mapping, headings: Sequence[Sequence[Cell]]) -> None:
        self._headings = [[text_of(cell) for cell in row] for row in headings]
        self._width = max((len(row) for row in self._headings), default=0)
        self._delimiter = mapping.delimiter or ","
        self._decimal: Decimal = mapping.decimal or "point"
        self._skipped = mapping.skip_rows

    def head(self) -> Iterator[str]:
        """The headings, and as many rows before them as the mapping skips."""
        for _ in range(self._skipped):
            yield "\r\n"
        for level, row in enumerate(self._headings):
            yield self._line(row, ERROR if level == 0 else "")

    def texts(self, cells: Iterable[Cell]) -> list[str]:
        """Cells as they are written: a number of a spreadsheet as the numbers of its texts are."""
        return [
            text_of(cell).replace(".", ",") if isinstance(cell, float) and self._decimal == "comma" else text_of(cell)
            for cell in cells
        ]

    def row(self, texts: Sequence[str], error: str) -> str:
        """One failed row."""
        return self._line(texts, error)

    def _line(self, texts: Sequence[str], last: str) -> str:
        padded = [*texts, *[""] * (self._width - len(texts)), last]
        return line(padded, guard=True, delimiter=self._delimiter)
