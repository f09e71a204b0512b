"""Sheets of labels as data: how many labels of which size stand where on a page."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from service.resources.keeping.amounts import refused

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm; ISO 216, and 8.5 by 11 inches
PAPER_NAMES = {"a4": "A4", "letter": "US Letter"}
EDGE = 7.0  # mm that printers leave white: common practice
TO_CUT = ((45.0, 30.0), (65.0, 40.0), (95.0, 55.0))
# Width, height, columns, rows, and what is between two columns. Common practice of sheets cut before they are sold,
# from memory; all of them stand in the middle of the page, their rows touching.
CUT_BEFORE = {
    "a4": ((70.0, 37.0, 3, 8, 0.0), (63.5, 38.1, 3, 7, 2.5), (99.1, 38.1, 2, 7, 2.5), (99.1, 67.7, 2, 4, 2.5)),
    "letter": ((66.7, 25.4, 3, 10, 3.1), (101.6, 50.8, 2, 5, 4.8), (101.6, 84.7, 2, 3, 4.8)),
}


@dataclass(frozen=True)
class Sheet:
    """Where labels stand on a page, in mm: their size, their number, and what is between two columns."""

    paper: str
    width: float
    height: float
    columns: int
    rows: int
    between: float
    to_cut: bool

    @property
    def code(self) -> str:
        """Its size as a word, such as `70x37`."""
        return f"{self.width:g}x{self.height:g}"

    @property
    def labels(self) -> int:
        """How many labels a page has."""
        return self.columns * self.rows

    @property
    def left(self) -> float:
        """From the page's left edge to the first label."""
        across = self.columns * self.width + (self.columns - 1) * self.between
        return (PAPERS[self.paper][0] - across) / 2

    @property
    def top(self) -> float:
        """From the page's upper edge to the first label."""
        return (PAPERS[self.paper][1] - self.rows * self.height) / 2

    def for_print(self) -> dict[str, Any]:
        """Everything a template needs to know of it, as plain values."""
        return asdict(self) | {"left": self.left, "top": self.top}


def _to_cut(paper: str, width: float, height: float) -> Sheet:
    across, down = PAPERS[paper]
    columns, rows = int((across - 2 * EDGE) // width), int((down - 2 * EDGE) // height)
    return Sheet(paper, width, height, columns, rows, 0.0, to_cut=True)


SHEETS = {
    paper: [
        *(_to_cut(paper, *size) for size in TO_CUT),
        *(Sheet(paper, *measures, to_cut=False) for measures in CUT_BEFORE[paper]),
    ]
    for paper in PAPERS
}
USUAL = "65x40"
MOST_SKIPPED = max(sheet.labels for offered in SHEETS.values() for sheet in offered) - 1


def sheet_named(paper: str, code: str) -> Sheet:
    """The sheet with this paper and size of label. Raises Unacceptable, naming the sizes there are."""
    if paper not in SHEETS:
        raise refused("paper", f"Ask for paper={' or '.join(SHEETS)}.", paper, place="query")
    offered = SHEETS[paper]
    found = next((sheet for sheet in offered if sheet.code == code), None)
    if found is None:
        sizes = ", ".join(sheet.code for sheet in offered)
        raise refused("label", f"On {PAPER_NAMES[paper]} there are the sizes {sizes} (mm).", code, place="query")
    return found
