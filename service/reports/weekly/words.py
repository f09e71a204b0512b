"""What the numbers of a line say, in words: is it in balance, where is it heading, how far from its target."""

from __future__ import annotations

from dataclasses import dataclass

STEADY = "Steady"


@dataclass(frozen=True)
class Standing:
    """One system's numbers in the unit shown: level now and a week ago with their half-widths, consumption, target."""

    level: float | None
    level_half: float
    level_before: float | None
    level_before_half: float
    target: float | None
    unit: str
    is_tested: bool

    @property
    def rise(self) -> float | None:
        """By how much the level rose in the week."""
        return None if self.level is None or self.level_before is None else self.level - self.level_before

    @property
    def rise_half(self) -> float:
        """The half-width of the rise, as if the two levels were independent."""
        return float((self.level_half**2 + self.level_before_half**2) ** 0.5)

    @property
    def off(self) -> float | None:
        """How far the level stands above its target."""
        return None if self.level is None or self.target is None else self.level - self.target

    @property
    def is_steady(self) -> bool:
        """Whether the week's change could be none."""
        return self.rise is not None and abs(self.rise) <= self.rise_half


def words(standing: Standing) -> str:
    """One short sentence on the balance."""
    if standing.level is None:
        return "Not enough readings to say"
    if not standing.is_tested:
        return "Not tested this week"
    if standing.rise is None:
        return "No comparison with the week before"
    if standing.is_steady:
        return STEADY
    direction = "Rising" if standing.rise > 0 else "Falling"
    return f"{direction}: {standing.rise:+.2f} {standing.unit} in the week"


def heading(standing: Standing) -> str | None:
    """Where the level is heading against its target, or None without a target or a level."""
    if standing.level is None or standing.target is None:
        return None
    off = standing.level - standing.target
    place = (
        "at its target" if abs(off) <= standing.level_half else f"{abs(off):.2f} {standing.unit} {_side(off)} target"
    )
    if standing.rise is None or standing.is_steady or standing.rise == 0:
        return f"Now {place}."
    if off * standing.rise > 0:
        return f"Now {place} and moving away."
    weeks = abs(off / standing.rise)
    if abs(off) <= standing.level_half or weeks > 8:
        return f"Now {place}."
    return f"Now {place}; there in about {_span(7 * weeks)} at this rate."


def _side(off: float) -> str:
    return "above" if off > 0 else "below"


def _span(days: float) -> str:
    return f"{days:.0f} days" if days >= 2 else "a day or two"
