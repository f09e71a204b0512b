"""What can be wrong with a request, in the service's own words; no status codes here (http.problems maps them)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Fault:
    """One thing wrong with what was sent: where (JSON Pointer or parameter), what was expected, what came."""

    pointer: str
    detail: str
    sent: Any = None
    place: str = "body"


@dataclass
class ServiceError(Exception):
    """A refusal that the sender can act on. `detail` says what to do next; `faults` name the fields."""

    detail: str
    faults: tuple[Fault, ...] = field(default=())

    def __str__(self) -> str:
        return self.detail


class Malformed(ServiceError):
    """The request cannot be read: a broken cursor, an unknown format, an impossible parameter."""


class Unacceptable(ServiceError):
    """The content was understood and is refused: a value out of bounds, a missing condition, an unknown subject."""


class NeedsConfirmation(Unacceptable):
    """The value is possible but implausible: it is stored only when the sender says `confirm: true`."""


class NotSignedIn(ServiceError):
    """No valid token or session came with the request."""


class NotAllowed(ServiceError):
    """The caller is known, and may not do this."""


class NotFound(ServiceError):
    """There is no such thing, or none that the caller may know of."""


class Conflict(ServiceError):
    """What is asked contradicts what is recorded."""


class KeyReused(ServiceError):
    """The Idempotency-Key came before with other content."""


class Stale(ServiceError):
    """If-Match names an older version than the current one."""


class VersionRequired(ServiceError):
    """A change needs an If-Match header that says which version it changes."""


class NotAcceptable(ServiceError):
    """None of the representations asked for is offered."""


class TooLarge(ServiceError):
    """The body, batch or span is larger than one request may carry."""


class HeldBack(ServiceError):
    """Good in itself, and not stored because something it was sent with was refused."""


@dataclass
class TooMany(ServiceError):
    """Tried too often: wait so many seconds and try again."""

    wait_seconds: int = 1


class Busy(ServiceError):
    """The service cannot take the request now; try again after the stated time."""


class NotPrinted(ServiceError):
    """The pages asked for could not be made as PDF: a fault on this side."""
