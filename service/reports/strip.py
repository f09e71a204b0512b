"""Where a level stands against its target, as a small drawing: everybody's target in the middle, one scale for all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

WIDTH, HEIGHT = 132, 16
MIDDLE = WIDTH // 2
REACH = 0.125  # the rule spans an eighth of the target to either side
EDGE = 4


def strip(line: Mapping[str, Any]) -> Markup:
    """The drawing (SVG), empty when the level or the target is unknown or they have different units.

    A bar is the interval, a dot the value, the tall tick in the middle the target. What lies beyond the rule ends in
    an arrow at its edge. Hidden from screen readers: the same is said in words beside it.
    """
    level, target = line["level"], line["target"]
    if level is None or target is None or level["unit"] != target["unit"] or not target["value"]:
        return Markup()
    low = _place(level["low"], target["value"], EDGE)
    high = _place(level["high"], target["value"], WIDTH - EDGE)
    value = _place(level["value"], target["value"], MIDDLE)
    middle = HEIGHT // 2
    return Markup(  # noqa: S704 numbers only: nothing that needs escaping goes in
        f'<svg class="strip" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" aria-hidden="true">'
        f'<path class="strip-rule" d="M0 {middle}H{WIDTH}M{MIDDLE} 0V{HEIGHT}"/>'
        f'<path class="strip-bar" d="M{low:.1f} {middle}H{high:.1f}"/>{_head(value, middle)}</svg>'
    )


def _place(level: float | None, target: float, unbounded: float) -> float:
    if level is None:
        return unbounded
    place = MIDDLE + (level - target) / (target * REACH) * MIDDLE
    return float(min(max(place, EDGE), WIDTH - EDGE))


def _head(value: float, middle: int) -> str:
    if EDGE < value < WIDTH - EDGE:
        return f'<circle class="strip-dot" cx="{value:.1f}" cy="{middle}" r="2.8"/>'
    tip, back = (0, 7) if value <= EDGE else (WIDTH, WIDTH - 7)
    return f'<path class="strip-dot" d="M{tip} {middle}L{back} {middle - 5}V{middle + 5}Z"/>'
