"""From a table's headings and first rows to a complete mapping, with the reason for every guess."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from statistics import median
from typing import Any

from service.errors import Fault, Unacceptable
from service.transfer.imports import headings
from service.transfer.imports.cells import (
    DATE_ORDERS,
    Cell,
    CellError,
    DateOrder,
    Decimal,
    is_missing,
    number,
    orders_of,
    says_order,
    text_of,
    time_of_day,
)
from service.transfer.imports.files import Row, Table, delimiter_of, headers_of, rows_of, sheets_of
from service.transfer.imports.headings import Heading
from service.transfer.imports.mapping import ColumnUse, Mapping, refuse_faulty

SAMPLE_ROWS = 1000
MOSTLY = 0.6  # of the cells of a column that hold anything


@dataclass(frozen=True)
class Understood:
    """A table with the mapping that will be used: complete, and why each part is what it is."""

    mapping: Mapping
    headers: list[str]
    header_cells: list[Row]
    because: dict[str, str]

    @property
    def first_row(self) -> int:
        """The number of the first row behind the headings."""
        return self.mapping.skip_rows + len(self.header_cells) + 1


def understood(table: Table, given: Mapping | None) -> Understood:
    """The complete mapping of a table: what was given, and guesses for the rest, each with its reason.

    Raises Unacceptable where a guess would be dangerous (an order of dates that nothing settles), and ValidationError
    for a mapping that does not fit the table.
    """
    given = given or Mapping()
    because: dict[str, str] = {}
    layout = given.model_copy(update=_layout(table, given, because))
    with _rows(table, layout) as rows:
        start = [row for _, row in islice(rows, layout.skip_rows + 4)][layout.skip_rows :]
        header_count = layout.header_rows or _header_rows(start, because)
        header_cells, first = start[:header_count], start[header_count:]
        sample = [*first, *(row for _, row in islice(rows, SAMPLE_ROWS))]
    if not header_cells:
        raise Unacceptable("The table has no rows.", (Fault("/file", "A row of headings is expected."),))
    headers = headers_of(header_cells)
    columns = _Columns(headers, sample, layout.missing)
    decimal = layout.decimal or _decimal(columns, because)
    uses = layout.columns or _uses(columns, layout, decimal, because)
    form = layout.form or ("long" if any(use.use == "value" for use in uses) else "wide")
    complete = layout.model_copy(
        update={"header_rows": header_count, "decimal": decimal, "columns": uses, "form": form}
    )
    refuse_faulty(complete, headers)
    if complete.time_zone is None and any(_says_utc(use) for use in uses):
        because["time_zone"] = "the heading says UTC"
        complete = complete.model_copy(update={"time_zone": "UTC"})
    if complete.time_of_day is None:
        complete = complete.model_copy(update={"time_of_day": _time_of_day(columns, uses, because)})
    order = complete.date_order or _date_order(columns, uses, because)
    return Understood(complete.model_copy(update={"date_order": order}), headers, header_cells, because)


def _rows(table: Table, mapping: Mapping) -> Any:
    return rows_of(table, delimiter=mapping.delimiter or ",", sheet=mapping.sheet, encoding=mapping.encoding)


def _layout(table: Table, given: Mapping, because: dict[str, str]) -> dict[str, Any]:
    """Sheet, encoding and delimiter."""
    if table.is_workbook:
        sheets = sheets_of(table)
        if given.sheet is None and len(sheets) > 1:
            because["sheet"] = f"the first of {', '.join(sheets)}"
        return {"sheet": given.sheet or sheets[0]}
    if given.encoding is None and table.encoding == "windows-1252":
        because["encoding"] = "the file is not UTF-8"
    return {"encoding": given.encoding or table.encoding, "delimiter": given.delimiter or delimiter_of(table)}


def _header_rows(rows: Sequence[Row], because: dict[str, str]) -> int:
    """Two where the second row has words alone, and none in the first column; else one."""
    if len(rows) > 2 and rows[1] and not text_of(rows[1][0]):
        words = [cell for cell in rows[1] if text_of(cell)]
        if words and all(isinstance(cell, str) and not _reads_as_number(cell) for cell in words):
            because["header_rows"] = "the second row holds words, and nothing in its first column"
            return 2
    return 1


def _reads_as_number(cell: Cell) -> bool:
    for decimal in ("point", "comma"):
        try:
            number(cell, decimal)
        except CellError:
            continue
        return True
    return False


class _Columns:
    """The cells of the sample, column by column, without those that say nothing."""

    def __init__(self, headers: Sequence[str], rows: Sequence[Row], missing: Sequence[str]) -> None:
        self.headers = headers
        self._cells: dict[str, list[Cell]] = {
            name: [row[place] for row in rows if place < len(row) and not is_missing(row[place], missing)]
            for place, name in enumerate(headers)
        }

    def __getitem__(self, name: str) -> list[Cell]:
        return self._cells.get(name, [])

    def numbers(self, name: str, decimal: Decimal) -> list[float]:
        """The cells of a column that are numbers."""
        found: list[float] = []
        for cell in self[name]:
            try:
                found.append(number(cell, decimal))
            except CellError:
                continue
        return found

    def are_numbers(self, name: str, decimal: Decimal) -> bool:
        """Whether most of what a column holds are numbers."""
        return bool(self[name]) and len(self.numbers(name, decimal)) >= MOSTLY * len(self[name])


def _decimal(columns: _Columns, because: dict[str, str]) -> Decimal:
    """By what numbers there are: 8,2 or 8.2. Where no fraction is written it does not matter."""
    counts: Counter[Decimal] = Counter()
    for name in columns.headers:
        for cell in columns[name]:
            text = text_of(cell) if isinstance(cell, str) else ""
            for decimal, mark, other in (("point", ".", "comma"), ("comma", ",", "point")):
                if text.count(mark) == 1 and _reads(text, decimal) and not _reads(text, other):  # type: ignore[arg-type]
                    counts[decimal] += 1  # type: ignore[index]
    if not counts:
        return "point"
    chosen: Decimal = counts.most_common(1)[0][0]
    because["decimal"] = f"{counts[chosen]} numbers are written with a {chosen}"
    if len(counts) > 1:
        because["decimal"] += f", {min(counts.values())} otherwise"
    return chosen


def _reads(text: str, decimal: Decimal) -> bool:
    try:
        number(text, decimal)
    except CellError:
        return False
    return True


def _date_order(columns: _Columns, uses: Sequence[ColumnUse], because: dict[str, str]) -> DateOrder:
    """The one order in which every date of the sample is one. Raises Unacceptable where two orders would do."""
    dated = [use.column for use in uses if use.use in ("date", "date_and_time")]
    cells = [cell for name in dated for cell in columns[name] if says_order(cell)]
    if not cells:
        because["date_order"] = "every date begins with its year, or is a date of the spreadsheet"
        return "year_month_day"
    counts = Counter(order for cell in cells for order in orders_of(cell))
    best = max(counts.values(), default=0)
    fitting = [order for order in DATE_ORDERS if counts[order] == best and best]
    if len(fitting) != 1:
        shown = ", ".join(dict.fromkeys(text_of(cell) for cell in cells[:3]))
        detail = (
            f"Nothing settles the order of dates such as {shown}: they read as {' and as '.join(fitting) or 'none'}. "
            "Say date_order in the mapping."
        )
        raise Unacceptable(detail, (Fault("/mapping/date_order", detail, shown),))
    because["date_order"] = f"{best} of {len(cells)} dates read so"
    return fitting[0]


def _uses(columns: _Columns, layout: Mapping, decimal: Decimal, because: dict[str, str]) -> list[ColumnUse]:
    """The use of every column, by its heading, then by what it holds."""
    heads = {name: Heading.of(name) for name in columns.headers}
    if layout.form != "wide" and (long := _long_uses(columns, heads, decimal)):
        because["form"] = "one column names the quantity, another holds the value"
        return long
    found: list[ColumnUse] = []
    taken: set[str] = set()
    for name in columns.headers:
        use = _use(columns, name, heads[name], decimal, taken, because)
        taken.add(use.use)
        found.append(use)
    return found


def _long_uses(columns: _Columns, heads: dict[str, Heading], decimal: Decimal) -> list[ColumnUse]:
    """The uses of a table with one reading a row; none when it is not such a table."""
    found: dict[str, str] = {}
    for name, heading in heads.items():
        use = next((headings.LONG_WORDS[word] for word in heading.words if word in headings.LONG_WORDS), None)
        use = use or headings.other_use(heading)
        if use is not None and use not in found.values():
            found[name] = use
    is_long = {"quantity", "value"} <= set(found.values())
    value = next((name for name, use in found.items() if use == "value"), "")
    if not is_long or not columns.are_numbers(value, decimal):
        return []
    return [ColumnUse.model_validate({"column": name, "use": found.get(name, "ignore")}) for name in columns.headers]


def _use(
    columns: _Columns, name: str, heading: Heading, decimal: Decimal, taken: set[str], because: dict[str, str]
) -> ColumnUse:
    key = f"columns/{name}"
    quantity = headings.quantity_in(heading)
    other = headings.other_use(heading)
    if quantity is not None and other not in ("date", "date_and_time", "note") and columns.are_numbers(name, decimal):
        unit, why = _unit(columns, name, heading, quantity, decimal)
        if unit is not None:
            because[key] = f"{quantity} in {unit}: {why}"
            return ColumnUse(
                column=name,
                use="reading",
                quantity=quantity,
                unit=unit,
                sample_point=headings.sample_point_in(heading),
                conditions=headings.conditions_in(heading, quantity) or None,
            )
        because[key] = f"ignored: {quantity}, but {why}"
        return ColumnUse(column=name, use="ignore")
    if other == "date" and any(" " in text_of(cell) or "T" in text_of(cell) for cell in columns[name][:50]):
        other = "date_and_time" if any(_has_time(cell) for cell in columns[name][:50]) else "date"
    if other == "time" and columns[name] and not any(_is_time(cell) for cell in columns[name]):
        other = "date_and_time" if any(orders_of(cell) for cell in columns[name][:50]) else None
    if other is not None and (other in ("note", "observer", "maintenance") or other not in taken):
        if other == "date_and_time":
            taken |= {"date", "time"}
        because[key] = "by its heading"
        return ColumnUse.model_validate({"column": name, "use": other, **_details(other)})
    because[key] = "ignored: the heading says nothing known here" if other is None else f"ignored: a second {other}"
    return ColumnUse(column=name, use="ignore")


def _details(use: str) -> dict[str, str]:
    if use == "time":
        return {"otherwise": "note"}
    return {"kind": "corrective"} if use == "maintenance" else {}


def _time_of_day(columns: _Columns, uses: Sequence[ColumnUse], because: dict[str, str]) -> str:
    """What a row means that says no time: midnight, which many programs leave off, where most rows say one."""
    cells = [cell for use in uses if use.use == "date_and_time" for cell in columns[use.column]]
    timed = sum(1 for cell in cells if _has_time(cell))
    if cells and timed >= MOSTLY * len(cells):
        if timed < len(cells):
            because["time_of_day"] = "dates between times have had their midnight left off"
        return "00:00"
    return "12:00"


def _says_utc(use: ColumnUse) -> bool:
    """Whether a heading of a time says that its clock is UTC."""
    heading = Heading.of(use.column)
    return use.use in ("date", "time", "date_and_time") and bool(
        {"utc", "gmt"} & {*heading.words, *(word for part in heading.bracketed for word in part.split())}
    )


def _is_time(cell: Cell) -> bool:
    try:
        time_of_day(cell)
    except CellError:
        return False
    return True


def _has_time(cell: Cell) -> bool:
    text = text_of(cell)
    return ":" in text and not text.endswith(" 00:00:00")


def _unit(columns: _Columns, name: str, heading: Heading, quantity: str, decimal: Decimal) -> tuple[str | None, str]:
    """The unit of a column and why: by its heading, by where its values lie, or because it is the usual one."""
    by_heading = headings.unit_in(heading, quantity)
    if by_heading is not None:
        return by_heading, "by the heading"
    if quantity in headings.BANDS:
        middle = median(columns.numbers(name, decimal))
        for low, high, unit in headings.BANDS[quantity]:
            if low <= middle < high:
                return unit, f"the middle value is {middle:g}"
        return None, f"the middle value of {middle:g} fits no unit: say it in the mapping"
    usual = headings.USUAL_UNIT.get(quantity)
    return usual, "the usual unit" if usual else "its unit is not said: say it in the mapping"


def shown(found: Understood) -> Iterator[str]:
    """The mapping in sentences, one a line, for people."""
    mapping = found.mapping
    for use in mapping.columns or []:
        what = use.use.replace("_", " ")
        if use.use == "reading":
            what = " ".join(filter(None, ["reading of", use.quantity, "in", use.unit, use.sample_point]))
        yield f"{use.column}: {what}{_reason(found, f'columns/{use.column}')}"
    for name in ("form", "sheet", "encoding", "delimiter", "header_rows", "decimal", "date_order", "time_zone"):
        value = getattr(mapping, name)
        if value is not None:
            yield f"{name}: {value!r}{_reason(found, name)}"


def _reason(found: Understood, key: str) -> str:
    return f" ({found.because[key]})" if key in found.because else ""
