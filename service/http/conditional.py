"""Conditional requests (RFC 9110): entity tags, If-Match for changes, If-None-Match for reads."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import Header

from service.errors import Fault, Malformed, Stale, VersionRequired

IfMatch = Annotated[
    str | None, Header(description='The version that is changed: the `ETag` of the last read, such as `"1"`.')
]
IfNoneMatch = Annotated[str | None, Header(description="The `ETag` already held: answered 304 when nothing changed.")]


def tag_of(version: int) -> str:
    """The strong entity tag of a version."""
    return f'"{version}"'


def version_named(if_match: str | None) -> int:
    """The version that If-Match names. Raises VersionRequired without the header, Malformed when it is no tag."""
    if if_match is None:
        detail = 'Send If-Match with the ETag of the version you read, such as If-Match: "1".'
        raise VersionRequired(detail, (Fault("If-Match", detail, None, "header"),))
    found = re.fullmatch(r'"(\d{1,9})"', if_match.strip())
    if found is None:
        detail = 'If-Match takes one entity tag as this service sends it, such as "1".'
        raise Malformed(detail, (Fault("If-Match", detail, if_match, "header"),))
    return int(found[1])


def require_version(if_match: str | None, current: int) -> None:
    """Raise Stale unless If-Match names the current version."""
    if version_named(if_match) != current:
        detail = f"This was changed since you read it. Read it again; its version now is {tag_of(current)}."
        raise Stale(detail, (Fault("If-Match", detail, if_match, "header"),))


def is_held(if_none_match: str | None, tag: str) -> bool:
    """Whether the reader already holds this representation."""
    return if_none_match is not None and tag in [held.strip().removeprefix("W/") for held in if_none_match.split(",")]
