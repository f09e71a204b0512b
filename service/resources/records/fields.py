"""What the validators and checks of several kinds of record share: faults of named fields, and instants ahead."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from pydantic import ValidationError
from pydantic_core import InitErrorDetails, PydanticCustomError

from service.access.caller import Work
from service.resources.keeping.amounts import refused
from service.resources.records.readings.actions import AHEAD_AT_MOST


def refuse_fields(shape: str, faults: Sequence[tuple[str, str, Any]]) -> None:
    """Raise ValidationError when there are faults, each a field, what is expected of it, and what came.

    A validator of a whole shape that raises ValueError would lose the name of the field.
    """
    if faults:
        lines = [
            InitErrorDetails(
                type=PydanticCustomError("field", "{expected}", {"expected": expected}), loc=(name,), input=sent
            )
            for name, expected, sent in faults
        ]
        raise ValidationError.from_exception_data(shape, lines)


def refuse_ahead(work: Work, at: datetime | None, pointer: str) -> None:
    """Raise Unacceptable for an instant that lies ahead of the service's clock by more than clocks differ."""
    if at is not None and at > work.at + AHEAD_AT_MOST:
        detail = "This lies ahead of the service's clock. Record what was done once it is done; check the offset."
        raise refused(pointer, detail, at.isoformat())
