"""How a command refuses: one plain line that says what to do, and a non-zero exit."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from pydantic import ValidationError
from sqlalchemy.exc import ArgumentError, DBAPIError

from service.errors import ServiceError


class Refusal(Exception):
    """A command cannot do what was asked; the text says why and what to do."""


@contextmanager
def expected_faults() -> Iterator[None]:
    """Turn the faults that a command can expect into a Refusal; anything else is a defect and stays one."""
    try:
        yield
    except ServiceError as error:
        unsaid = [fault for fault in error.faults if fault.detail not in error.detail]
        named = " ".join(f"{fault.pointer}: {fault.detail}" for fault in unsaid)
        raise Refusal(f"{error.detail} {named}".strip()) from error
    except ValidationError as error:
        first = error.errors()[0]
        where = "/".join(map(str, first["loc"]))
        raise Refusal(f"{where}: {first['msg'].removeprefix('Value error, ')} (got {first['input']!r})") from error
    except ArgumentError as error:
        raise Refusal(f"OOID_DATABASE_URL cannot be read: {error}") from error
    except DBAPIError as error:
        raise Refusal(f"The database refuses: {str(error.orig).strip().splitlines()[0]}") from error
    except OSError as error:
        what = f"{error.filename}: " if error.filename else ""
        raise Refusal(f"{what}{error.strerror or error}") from error
