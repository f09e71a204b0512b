"""The course of a level over time as a plot (SVG): band, course, readings, events and target.

The drawing fills whatever width it is given: positions along it are shares of the width, while text, marks and line
widths keep their size, so that it can be read on a phone, on a desk and on paper. Colours come from the style sheet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape
from math import isfinite
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from service.reports.ticks import time_ticks, value_ticks

HEIGHT, TOP, BOTTOM = 268, 26, 26  # of the whole, above the field (event numbers), below it (dates)
FIELD = HEIGHT - TOP - BOTTOM
ACROSS, DOWN = 10_000, 10 * FIELD  # whole-number coordinates within the field: ten to a pixel is finer than any screen
EMPTY = "No readings to draw yet"
FIELD_WIDTHS = {"wide": 560, "narrow": 240}  # the least a field has on a desk or on paper, and on a phone; in pixels
DIGIT, GAP = 7.5, 6.0  # a digit of a label, and what keeps two labels apart, in pixels
MARKS = {"set_aside": "M-4.5-4.5L4.5 4.5M4.5-4.5L-4.5 4.5", "flagged": "M0-5.5L5.5 0L0 5.5L-5.5 0Z"}
BEYOND = {-1: "M-4-8L0-12L4-8", 0: "", 1: "M-4 8L0 12L4 8"}  # an arrowhead: it lies above the field, below it
Values = NDArray[np.float64]
Places = NDArray[np.number[Any]]


@dataclass(frozen=True)
class Mark:
    """A reading: instant (s since 1970), value, and `used`, `set_aside` (a cross) or `flagged` (a diamond)."""

    at: float
    value: float
    kind: str = "used"
    words: str = ""


@dataclass(frozen=True)
class Plot:
    """What is drawn. Instants in seconds since 1970, levels in `unit`; a NaN `value` is a gap, a NaN bound is none."""

    key: str
    title: str
    description: str
    unit: str
    zone: ZoneInfo
    at: Sequence[float]
    value: Sequence[float | None]
    low: Sequence[float | None]
    high: Sequence[float | None]
    readings: Sequence[Mark] = field(default=())
    events: Sequence[float] = field(default=())
    target: float | None = None


@dataclass(frozen=True)
class _Frame:
    start: float
    end: float
    low: float
    high: float

    def across(self, at: float) -> float:
        return (at - self.start) / (self.end - self.start)

    def down(self, value: float) -> float:
        return (self.high - value) / (self.high - self.low) * FIELD + TOP


def svg(plot: Plot, *, width: int | None = None) -> str:
    """The plot as one `<svg>` element without style or script; text is escaped, an empty plot says that it is.

    Without a width (pixels) it fills what it is given. For paper one is needed: what sets pages there scales lines
    with their field, so the field keeps the pixels of the page.
    """
    frame = _frame(plot)
    parts = [
        f'<svg class="plot" role="img" aria-labelledby="{escape(plot.key)}-title {escape(plot.key)}-desc" '
        f'width="{width or "100%"}" height="{HEIGHT}" xmlns="http://www.w3.org/2000/svg">',
        f'<title id="{escape(plot.key)}-title">{escape(plot.title)}</title>',
        f'<desc id="{escape(plot.key)}-desc">{escape(plot.description)}</desc>',
    ]
    if frame is None:
        parts.append(f'<text class="plot-empty" x="50%" y="{HEIGHT // 2}" text-anchor="middle">{EMPTY}</text>')
    else:
        grid = _Grid(ACROSS, DOWN) if width is None else _Grid(width, FIELD, digits=1)
        parts += [*_axes(frame, plot), *_events(frame, plot.events), _course(frame, plot, grid), *_target(frame, plot)]
        parts += _marks(frame, plot)
    parts.append("</svg>")
    return "".join(parts)


def _frame(plot: Plot) -> _Frame | None:
    value, at = _numbers(plot.value), _numbers(plot.at)
    used = [mark for mark in plot.readings if mark.kind != "set_aside" and isfinite(mark.value)]
    levels = np.concatenate([value[np.isfinite(value)], _numbers([mark.value for mark in used])])
    instants = np.concatenate([at, _numbers([mark.at for mark in plot.readings])])
    if not instants.size or not levels.size:
        return None
    within = levels if plot.target is None else np.append(levels, plot.target)
    low, high = float(within.min()), float(within.max())
    span = (high - low) or abs(high) * 0.1 or 1.0
    band = np.concatenate([_numbers(plot.low), _numbers(plot.high)])
    band = np.clip(band[np.isfinite(band)], low - span / 2, high + span / 2)  # a wide band must not flatten the course
    if band.size:
        low, high = min(low, float(band.min())), max(high, float(band.max()))
    margin = (high - low or span) * 0.08
    start, end = float(instants.min()), float(instants.max())
    aside = 43_200.0 if start == end else 0.0
    return _Frame(start - aside, end + aside, low - margin, high + margin)


def _numbers(values: Sequence[float | None]) -> Values:
    return np.array(values, dtype=np.float64)


def _axes(frame: _Frame, plot: Plot) -> Iterator[str]:
    ticks = value_ticks(frame.low, frame.high)
    decimals = max((len(f"{tick:g}".partition(".")[2]) for tick in ticks), default=0)
    for tick in ticks:
        y = f"{frame.down(tick):.1f}"
        yield f'<line class="plot-rule" x1="0" x2="100%" y1="{y}" y2="{y}"/>'
        yield f'<text class="plot-level" x="-8" y="{y}" dy="4" text-anchor="end">{tick:.{decimals}f}</text>'
    yield f'<text class="plot-unit" x="-8" y="11" text-anchor="end">{escape(plot.unit)}</text>'
    foot = TOP + FIELD
    yield f'<line class="plot-foot" x1="0" x2="100%" y1="{foot}" y2="{foot}"/>'
    for count, (at, label) in enumerate(time_ticks(frame.start, frame.end, plot.zone)):
        x, share = _share(frame, at), frame.across(at)
        anchor = "start" if share < 0.04 else "end" if share > 0.96 else "middle"
        fine = " plot-fine" if count % 2 else ""
        yield f'<line class="plot-tick" x1="{x}" x2="{x}" y1="{foot}" y2="{foot + 5}"/>'
        yield f'<text class="plot-date{fine}" x="{x}" y="{foot + 20}" text-anchor="{anchor}">{escape(label)}</text>'


def _events(frame: _Frame, events: Sequence[float]) -> Iterator[str]:
    """A line each, and their numbers above: on a narrow field more of them share a label than on a wide one."""
    numbered = sorted(enumerate(events, start=1), key=lambda event: event[1])
    shown = [(number, share) for number, at in numbered if 0 <= (share := frame.across(at)) <= 1]
    for _, share in shown:
        yield f'<line class="plot-event" x1="{share:.2%}" x2="{share:.2%}" y1="{TOP - 6}" y2="{TOP + FIELD}"/>'
    for name, pixels in FIELD_WIDTHS.items():
        for label, place in _labels(shown, pixels):
            x, y = f"{place:.2%}", TOP - 10
            yield f'<text class="plot-number plot-{name}" x="{x}" y="{y}" dx="-{DIGIT / 2}">{label}</text>'


@dataclass(frozen=True, slots=True)
class _Label:
    """The number of an event, or of several together, over the first of them (pixels)."""

    low: int
    high: int
    at: float

    @property
    def text(self) -> str:
        return str(self.low) if self.low == self.high else f"{self.low}–{self.high}"

    def left(self, pixels: float) -> float:
        """Over its first event, or so far left of it that it ends within a field so wide."""
        return max(min(self.at, pixels - self.width), 0.0)

    @property
    def width(self) -> float:
        return len(self.text) * DIGIT

    def touches(self, after: _Label, pixels: float) -> bool:
        """Whether the label after it would stand in this one."""
        return after.left(pixels) < self.left(pixels) + self.width + GAP

    def joined(self, after: _Label) -> _Label:
        """Both as one."""
        return _Label(min(self.low, after.low), max(self.high, after.high), self.at)


def _labels(events: Sequence[tuple[int, float]], pixels: float) -> list[tuple[str, float]]:
    """Labels that do not touch on a field so many pixels wide, each with where it begins as a share of the width.

    A label begins over its first event; an event that would stand in the label before it joins that one.
    """
    labels: list[_Label] = []
    for number, share in events:
        label = _Label(number, number, share * pixels)
        while labels and labels[-1].touches(label, pixels):
            label = labels.pop().joined(label)
        labels.append(label)
    return [(label.text, label.left(pixels) / pixels) for label in labels]


def _course(frame: _Frame, plot: Plot, grid: _Grid) -> str:
    """Band, course and the readings that were used: three paths in a field of its own coordinates."""
    at, value = _numbers(plot.at), _numbers(plot.value)
    x = grid.along(frame, at)
    low, high = _numbers(plot.low), _numbers(plot.high)
    y, floor_y, ceiling_y = grid.level(frame, value), grid.level(frame, low, grid.down), grid.level(frame, high)
    bands, lines = [], []
    for start, end in _runs(np.isfinite(value)):
        run = slice(start, end)
        outline = (np.append(x[run], x[run][::-1]), np.append(ceiling_y[run], floor_y[run][::-1]))
        bands.append(f"M{_joined(*outline)}Z")
        lines.append(f"M{_joined(x[run], y[run])}")
    used = [mark for mark in plot.readings if mark.kind == "used" and isfinite(mark.value)]
    across = grid.along(frame, _numbers([mark.at for mark in used]))
    down = grid.level(frame, _numbers([mark.value for mark in used]))
    dots = "".join([f"M{x} {y}h0" for x, y in zip(across.tolist(), down.tolist(), strict=True)])
    return (
        f'<svg class="plot-field" y="{TOP}" width="100%" height="{FIELD}" viewBox="0 0 {grid.across} {grid.down}" '
        f'preserveAspectRatio="none"><path class="plot-band" d="{"".join(bands)}"/>'
        f'<path class="plot-course" fill="none" vector-effect="non-scaling-stroke" d="{"".join(lines)}"/>'
        f'<path class="plot-used" fill="none" vector-effect="non-scaling-stroke" d="{dots}"/></svg>'
    )


@dataclass(frozen=True)
class _Grid:
    """The coordinates within a field: so many each way, whole or with so many digits."""

    across: int
    down: int
    digits: int = 0

    def along(self, frame: _Frame, at: Values) -> Places:
        return self._rounded((at - frame.start) / (frame.end - frame.start) * self.across)

    def level(self, frame: _Frame, level: Values, unbounded: int = 0) -> Places:
        down = (frame.high - level) / (frame.high - frame.low) * self.down
        return self._rounded(np.clip(np.where(np.isfinite(down), down, unbounded), 0, self.down))

    def _rounded(self, places: Values) -> Places:
        return np.round(places, self.digits) if self.digits else np.rint(places).astype(np.int64)


def _runs(known: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The half-open index ranges over which a course is known."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    return [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]


def _joined(x: Places, y: Places) -> str:
    return _text(np.column_stack((x, y)))


def _text(places: Places) -> str:
    """The numbers with commas between, which is how lists are written too: much faster than joining them."""
    return str(places.ravel().tolist())[1:-1].replace(" ", "")


def _target(frame: _Frame, plot: Plot) -> Iterator[str]:
    if plot.target is not None:
        y = frame.down(plot.target)
        yield f'<line class="plot-target" x1="0" x2="100%" y1="{y:.1f}" y2="{y:.1f}"/>'
        label = escape(f"target {plot.target:.4g} {plot.unit}")
        yield f'<text class="plot-target-label" x="100%" y="{y - 5:.1f}" text-anchor="end">{label}</text>'


def _marks(frame: _Frame, plot: Plot) -> Iterator[str]:
    """The readings that stand out, each in its place, or at the edge with an arrow when it lies beyond."""
    for mark in plot.readings:
        if mark.kind == "used" or not isfinite(mark.value):
            continue
        y = frame.down(mark.value)
        beyond = -1 if y < TOP else 1 if y > TOP + FIELD else 0
        shape = MARKS.get(mark.kind, MARKS["flagged"]) + BEYOND[beyond]
        place = min(max(y, TOP + 12.0), TOP + FIELD - 12.0) if beyond else y
        yield (
            f'<svg class="plot-mark" x="{_share(frame, mark.at)}" y="{place:.1f}" overflow="visible">'
            f'<path class="plot-{"aside" if mark.kind == "set_aside" else "flagged"}" d="{shape}"/>'
            f"<title>{escape(mark.words)}</title></svg>"
        )


def _share(frame: _Frame, at: float) -> str:
    return f"{frame.across(at):.2%}"
