"""A mapping: what the columns of a table mean. JSON in plain words, to be saved, shared and used again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal
from zoneinfo import available_timezones

from pydantic import AfterValidator, ValidationError
from pydantic import Field as ShapeField
from pydantic_core import InitErrorDetails, PydanticCustomError

from service.http.shapes import Amount, Code, Line, Number, Shape, UnitName, Whole
from service.resources.records.maintenance_events.models import MaintenanceKind
from service.resources.records.readings.models import Purpose
from service.transfer.imports.cells import MISSING, DateOrder, Decimal
from service.transfer.imports.files import MOST_COLUMNS, Delimiter, Encoding

Use = Literal[
    "ignore",
    "subject",
    "date",
    "time",
    "date_and_time",
    "reading",
    "quantity",
    "value",
    "unit",
    "method",
    "sample_point",
    "purpose",
    "observer",
    "note",
    "remark",
    "maintenance",
    "water_change",
    "dose",
]
ONE_EACH = {
    "subject",
    "date",
    "time",
    "date_and_time",
    "quantity",
    "value",
    "unit",
    "method",
    "sample_point",
    "purpose",
}
LONG_ONLY = {"quantity", "value", "unit", "method", "sample_point", "purpose"}
WIDE_ONLY = {"reading", "water_change", "dose"}
Header = Annotated[str, ShapeField(min_length=1, max_length=200, strict=True)]
Word = Annotated[str, ShapeField(max_length=200, strict=True)]
TimeOfDay = Annotated[str, ShapeField(pattern=r"^([01]\d|2[0-3]):[0-5]\d$", strict=True, examples=["12:00"])]


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError("an IANA time zone is expected, such as Europe/Oslo or Pacific/Auckland")
    return name


Zone = Annotated[str, ShapeField(max_length=64, strict=True), AfterValidator(_known_zone)]


class ColumnUse(Shape):
    """What one column holds, by the name in its heading.

    reading: values of `quantity` in `unit` (wide form). subject, date, time, date_and_time, observer: as they say.
    quantity, value, unit, method, sample_point, purpose: the parts of one reading a row (long form). note: free text,
    kept as an inspection of the subject. remark: free text that goes with the row's readings. maintenance: what was
    done, kept as a maintenance event of `kind`. water_change: its volume in `unit`. dose: the total of `of` in `unit`,
    spread over `hours`. ignore: nothing is taken from it.
    """

    column: Header
    use: Use
    quantity: Code | None = None
    unit: UnitName | None = None
    subject: Line | None = ShapeField(default=None, description="Of a reading: its own subject, not that of the row.")
    sample_point: Line | None = None
    method: Line | None = None
    purpose: Purpose | None = None
    conditions: dict[Code, Number | Amount | Line] | None = None
    relative_sd: Annotated[Number, ShapeField(gt=0, lt=1)] | None = None
    kind: MaintenanceKind | None = None
    of: Literal["alkalinity", "calcium", "magnesium"] | None = None
    hours: Annotated[Number, ShapeField(gt=0, le=744)] | None = None
    otherwise: Literal["reject", "note"] | None = ShapeField(
        default=None, description="Of time: what becomes of text that is no time of day. Left out, the row is rejected."
    )


class Mapping(Shape):
    """How a table is read. Everything that is left out is guessed, and shown as it was taken.

    date_order and decimal: how numbers and dates are written. time_zone: of times without an offset; left out, the
    site's. time_of_day: of rows without one; left out, noon, or midnight where other rows of the column say the time.
    subject: what all rows are about, when no column says it; subjects: words of the table -> tags (`tank:north-1` where
    a tag is not enough). quantities, units: likewise for the long form.
    missing: words that mean no value. fill_down: columns whose blanks repeat the cell above; what is made so is marked
    inferred. implausible: `flag` or `reject` what lies outside the usual band. record_as: `readings`, each with an id
    of its own, or points of `series`, for a probe's log.
    """

    form: Literal["wide", "long"] | None = None
    sheet: Line | None = None
    encoding: Encoding | None = None
    delimiter: Delimiter | None = None
    skip_rows: Annotated[Whole, ShapeField(ge=0, le=100)] = 0
    header_rows: Annotated[Whole, ShapeField(ge=1, le=4)] | None = None
    decimal: Decimal | None = None
    date_order: DateOrder | None = None
    time_zone: Zone | None = None
    time_of_day: TimeOfDay | None = None
    subject: Line | None = None
    subjects: dict[Word, Line] = {}
    quantities: dict[Word, Code] = {}
    units: dict[Word, UnitName] = {}
    missing: Annotated[list[Word], ShapeField(max_length=50)] = list(MISSING)
    fill_down: Annotated[list[Header], ShapeField(max_length=20)] = []
    implausible: Literal["flag", "reject"] = "flag"
    record_as: Literal["readings", "series"] = "readings"
    columns: Annotated[list[ColumnUse], ShapeField(max_length=MOST_COLUMNS)] | None = None


def faults_in(mapping: Mapping, headers: list[str]) -> list[tuple[tuple[str | int, ...], str, object]]:
    """What a complete mapping lacks or has too much of for these headings: where, what is expected, what came."""
    found: list[tuple[tuple[str | int, ...], str, object]] = []
    uses = [column.use for column in mapping.columns or []]
    known = ", ".join(headers)
    seen: set[str] = set()
    for index, column in enumerate(mapping.columns or []):
        where = ("columns", index)
        if column.column not in headers:
            found.append(((*where, "column"), f"There is no such column. The table has: {known}.", column.column))
        if column.column in seen:
            found.append(((*where, "column"), "Each column has one use; this one has two.", column.column))
        seen.add(column.column)
        if column.use in ONE_EACH and uses.index(column.use) != index:
            found.append(((*where, "use"), f"One column alone is the {column.use.replace('_', ' ')}.", column.use))
        if column.use in (LONG_ONLY if mapping.form == "wide" else WIDE_ONLY):
            other = "long" if mapping.form == "wide" else "wide"
            found.append(((*where, "use"), f"This use belongs to the {other} form.", column.use))
        found += [((*where, name), expected, None) for name, expected in _lacks(column)]
    for name in mapping.fill_down:
        if name not in headers:
            found.append((("fill_down",), f"There is no such column. The table has: {known}.", name))
    return found + [((*where,), expected, None) for where, expected in _missing_uses(mapping, uses)]


def refuse_faulty(mapping: Mapping, headers: list[str]) -> None:
    """Raise ValidationError naming every fault of a complete mapping."""
    faults = faults_in(mapping, headers)
    if faults:
        raise ValidationError.from_exception_data(
            "Mapping",
            [
                InitErrorDetails(
                    type=PydanticCustomError("field", "{expected}", {"expected": expected}), loc=where, input=sent
                )
                for where, expected, sent in faults
            ],
        )


def all_have_subjects(mapping: Mapping) -> bool:
    """Whether every column that makes records says what it is about."""
    uses = {"reading", "value", "note", "maintenance", "water_change", "dose"}
    about = [column.subject for column in mapping.columns or [] if column.use in uses]
    return bool(about) and None not in about


def _lacks(column: ColumnUse) -> list[tuple[str, str]]:
    if column.use == "reading":
        wanted = {"quantity": column.quantity, "unit": column.unit}
    elif column.use == "dose":
        wanted = {"of": column.of, "unit": column.unit}
    elif column.use == "water_change":
        wanted = {"unit": column.unit}
    else:
        wanted = {}
    return [
        (name, f"A column of {column.use.replace('_', ' ')} says its {name}.")
        for name, value in wanted.items()
        if value is None
    ]


def _missing_uses(mapping: Mapping, uses: Sequence[str]) -> list[tuple[tuple[str, ...], str]]:
    found: list[tuple[tuple[str, ...], str]] = []
    if not {"date", "date_and_time"} & set(uses):
        found.append((("columns",), "Say which column is the date, or the date_and_time."))
    if "date_and_time" in uses and {"date", "time"} & set(uses):
        found.append((("columns",), "Either one column is date_and_time, or one is date and one may be time."))
    if "subject" not in uses and mapping.subject is None and not all_have_subjects(mapping):
        found.append(
            (("subject",), "No column says what the rows are about: give the tag of a system, tank or equipment.")
        )
    if mapping.form == "long" and not {"quantity", "value"} <= set(uses):
        found.append((("columns",), "The long form needs a column of quantity and one of value."))
    if mapping.form == "wide" and not {"reading", "note", "maintenance", "water_change", "dose"} & set(uses):
        found.append((("columns",), "No column holds anything to record: say which are readings."))
    return found
