"""Which representation of an answer a caller gets: by `?format=`, else by the Accept header (RFC 9110)."""

from __future__ import annotations

from collections.abc import Mapping

from service.errors import NotAcceptable


def preferred(accept: str | None, offers: Mapping[str, str]) -> str:
    """The name of the representation that an Accept header prefers; `offers` are media types by name, our own first.

    Raises NotAcceptable when the header takes none of them.
    """
    first = next(iter(offers))
    if accept is None:
        return first
    wanted = sorted((_weighed(part) for part in accept.split(",")), key=lambda each: -each[1])
    for media_range, quality in wanted:
        for name, media_type in offers.items():
            if quality > 0 and media_range in ("*/*", media_type, media_type.partition("/")[0] + "/*"):
                return name
    raise NotAcceptable(f"This comes as {' or '.join(offers.values())}. Say so in Accept, or send ?format=.")


def _weighed(part: str) -> tuple[str, float]:
    media_range, *parameters = (piece.strip() for piece in part.split(";"))
    quality = next((piece[2:] for piece in parameters if piece.startswith("q=")), "1")
    try:
        return media_range.lower(), float(quality)
    except ValueError:
        return media_range.lower(), 0.0
