"""Cursor pages (RFC 8288 links): every list is walked to its end without skipping or repeating a row."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Annotated, Any, TypeVar
from uuid import UUID

import orjson
from fastapi import Depends, Query, Request, Response

from service.errors import Fault, Malformed
from service.storage.types import canonical

Row = TypeVar("Row")
LARGEST_PAGE = 1000


class Page:
    """Which part of a list is asked for: up to `limit` rows after a position (None: from the start)."""

    def __init__(self, request: Request, response: Response, limit: int, cursor: str | None) -> None:
        self._request = request
        self._response = response
        self.limit = limit
        self.after = None if cursor is None else _decoded(cursor)

    def after_instant_and_id(self) -> tuple[int, UUID] | None:
        """The position as microseconds and an id. Raises Malformed when the cursor is not one of this list's."""
        if self.after is None:
            return None
        try:
            at_us, text = self.after
            if not isinstance(at_us, int) or abs(at_us) >= 2**53:
                raise _broken_cursor()
            return at_us, UUID(text)
        except (ValueError, TypeError, AttributeError) as error:
            raise _broken_cursor() from error

    def after_id(self) -> UUID | None:
        """The position as an id. Raises Malformed when the cursor is not one of this list's."""
        if self.after is None:
            return None
        try:
            (text,) = self.after
            return UUID(text)
        except (ValueError, TypeError, AttributeError) as error:
            raise _broken_cursor() from error

    def close(self, rows: Sequence[Row], position: Any) -> Sequence[Row]:
        """The page's rows out of up to limit + 1 found; adds the `Link` to the next page when there is one.

        `position` gives the cursor position of a row as a list of JSON values.
        """
        if len(rows) <= self.limit:
            return rows
        kept = rows[: self.limit]
        self.go_on_after(position(kept[-1]))
        return kept

    def go_on_after(self, position: list[Any]) -> None:
        """Add the `Link` to the page behind a position, given as JSON values."""
        url = self._request.url.include_query_params(cursor=_encoded(position), limit=self.limit)
        self._response.headers["Link"] = f'<{url.path}?{url.query}>; rel="next"'


async def _page(
    request: Request,
    response: Response,
    limit: Annotated[int, Query(ge=1, le=LARGEST_PAGE, description="Rows a page.")] = 100,
    cursor: Annotated[
        str | None, Query(max_length=400, description="Where the page before ended: follow `Link`.")
    ] = None,
) -> Page:
    return Page(request, response, limit, cursor)


PageOf = Annotated[Page, Depends(_page)]


def _encoded(position: Any) -> str:
    return base64.urlsafe_b64encode(canonical(position)).decode().rstrip("=")


def _decoded(cursor: str) -> list[Any]:
    try:
        position = orjson.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
    except ValueError as error:
        raise _broken_cursor() from error
    if not isinstance(position, list):
        raise _broken_cursor()
    return position


def _broken_cursor() -> Malformed:
    detail = "This cursor was not made by this list. Start again without one and follow the Link headers."
    return Malformed(detail, (Fault("cursor", detail, None, "query"),))
