"""Which fields belong to which kind of addition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

ALWAYS = frozenset({"id", "kind", "relative_sd", "added_by", "note", "confirm"})
DOSED = ("alkalinity", "calcium", "magnesium")


@dataclass(frozen=True)
class Fields:
    """The fields of one kind: those it needs, those it may have, and those of which it needs at least one."""

    needs: tuple[str, ...]
    may: tuple[str, ...] = ()
    one_of: tuple[str, ...] = field(default=())

    def faults(self, kind: str, sent: Mapping[str, Any]) -> list[tuple[str, str, Any]]:
        """Every field that is missing, out of place or out of order, with what is expected and what came."""
        words = kind.replace("_", " ")
        there = {name for name, value in sent.items() if value is not None}
        known = {*ALWAYS, *self.needs, *self.may, *self.one_of}
        found: list[tuple[str, str, Any]] = [
            (name, f"A {words} has no such field. Leave it out.", str(sent[name])) for name in sorted(there - known)
        ]
        found += [(name, f"A {words} needs it.", None) for name in self.needs if name not in there]
        if self.one_of and not there & set(self.one_of):
            found.append((self.one_of[0], f"A {words} needs at least one of {', '.join(self.one_of)}.", None))
        begins, ends = sent.get("started_at"), sent.get("ended_at")
        if begins is not None and ends is not None and ends < begins:
            found.append(("ended_at", "An end at or after started_at is expected.", ends.isoformat()))
        if "strength" in there and sent.get("liquid") == "fresh_water":
            found.append(
                ("strength", "Only limewater has a strength. Leave it out, or say limewater.", str(sent["strength"]))
            )
        return found


KINDS: Mapping[str, Fields] = {
    "dose": Fields(("system_id", "started_at"), ("ended_at",), one_of=DOSED),
    "water_change": Fields(("system_id", "at", "volume"), ("new_water", "mode")),
    "top_off": Fields(("system_id", "started_at", "ended_at", "volume", "liquid"), ("strength",)),
    "exchange": Fields(("system_id", "started_at", "flow"), ("ended_at", "new_water")),
    "salt": Fields(("system_id", "at", "mass")),
    "media": Fields(("reactor_id", "at", "mass"), ("batch", "replaces")),
}
