"""The response that carries a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import quote

from fastapi import Response

PDF = "application/pdf"


def pdf(content: bytes, name: str, headers: Mapping[str, str] | None = None) -> Response:
    """A response that a browser shows, and saves as `name`.pdf (RFC 6266; letters beyond ASCII as RFC 8187 has them).

    Kept by nobody unless `headers` say otherwise.
    """
    disposition = f"inline; filename*=UTF-8''{quote(name, safe='')}.pdf"
    sent = {"Cache-Control": "no-store", "Content-Disposition": disposition, **(headers or {})}
    return Response(content, media_type=PDF, headers=sent)
