"""What a table calls the systems, tanks, equipment and rooms of a site."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, select

from service.resources.equipment.pieces.models import Equipment
from service.resources.places.rooms.models import Room
from service.resources.places.systems.models import System
from service.resources.places.tanks.models import Tank
from service.resources.places.tanks.queries import Stay, stays
from service.transfer.imports.cells import CellError

KINDS: tuple[tuple[str, Any], ...] = (("system", System), ("tank", Tank), ("equipment", Equipment), ("room", Room))


class Subjects:
    """Everything on one site that a row can be about, by its tag."""

    def __init__(self, session: Session, site_id: UUID, words: Mapping[str, str]) -> None:
        self._words = words
        self._ids: dict[str, dict[str, UUID]] = {}
        for kind, table in KINDS:
            for row_id, tag in session.exec(select(table.id, table.tag).where(table.site_id == site_id)).all():
                self._ids.setdefault(tag.lower(), {})[kind] = row_id
        tanks = [found["tank"] for found in self._ids.values() if "tank" in found]
        self._stays: dict[UUID, list[Stay]] = {}
        for stay in stays(session, tanks):
            self._stays.setdefault(stay.tank_id, []).append(stay)
        self._systems = {found["system"] for found in self._ids.values() if "system" in found}

    def named(self, text: str) -> UUID:
        """The id behind a word of the table. Raises CellError, saying what to do."""
        word = self._words.get(text, text).strip()
        kind, colon, tag = word.rpartition(":")
        found = self._ids.get((tag if colon else word).lower(), {})
        if colon and kind.lower() in found:
            return found[kind.lower()]
        if not found or colon:
            raise CellError(
                "no system, tank, equipment or room of this site has this tag. Describe it, or map the word to a tag"
            )
        if len(found) > 1:
            choices = " or ".join(f"{kind}:{word}" for kind in found)
            raise CellError(f"more than one thing has this tag. Map the word to {choices}")
        return next(iter(found.values()))

    def system_of(self, subject_id: UUID, at: datetime) -> UUID:
        """The system itself, or the one that a tank stood on at an instant. Raises CellError."""
        if subject_id in self._systems:
            return subject_id
        for stay in self._stays.get(subject_id, []):
            if stay.from_at <= at and (stay.to_at is None or at < stay.to_at):
                return stay.system_id
        raise CellError("what is added goes into a system, or a tank that stood on one then; this is neither")
