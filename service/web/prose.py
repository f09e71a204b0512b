"""The plain text of descriptions as HTML: paragraphs, and code between backticks."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

_CODE = re.compile(r"`([^`]+)`")


def prose(text: str) -> Markup:
    """Paragraphs of a description, everything in it escaped."""
    paragraphs = [part.strip() for part in re.split(r"\n\s*\n", text) if part.strip()]
    return Markup().join(Markup("<p>{}</p>").format(inline(part)) for part in paragraphs)


def inline(text: str) -> Markup:
    """A text without paragraphs, code between backticks marked as such."""
    pieces = _CODE.split(text)
    return Markup().join(
        Markup("<code>{}</code>").format(piece) if index % 2 else escape(piece) for index, piece in enumerate(pieces)
    )
