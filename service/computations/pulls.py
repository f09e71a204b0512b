"""Repeated pulls: an entity tag that changes exactly when the answer could, and 304 for who holds it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Annotated, Any
from uuid import UUID

from fastapi import Query, Request, Response
from sqlmodel import Session

from service import __version__
from service.http.conditional import is_held
from service.http.shapes import Time
from service.storage.trail import INSTALLATION, AuditEntry, head
from service.storage.types import canonical

AskedAt = Annotated[Time | None, Query(description="The instant asked about; left out, now: the last hour or record.")]
UNCHANGED: dict[int | str, dict[str, Any]] = {304: {"description": "Nothing changed since the ETag you hold"}}


def on_the_hour(at: datetime) -> datetime:
    """An instant floored to the hour, so that pulls within one hour ask the same question."""
    return at - timedelta(minutes=at.minute, seconds=at.second, microseconds=at.microsecond)


def resolved(session: Session, site_ids: Sequence[UUID], now: datetime) -> datetime:
    """The instant that `now` stands for: the full hour, or what was recorded since then. Stays until something is."""
    heads = [chain for site_id in site_ids if (chain := head(session, site_id))]
    last = [session.get_one(AuditEntry, (chain.chain_id, chain.seq)).at for chain in heads]
    return max([on_the_hour(now), *(at for at in last if at <= now)])


def tag_for(session: Session, request: Request, *, site_ids: Sequence[UUID], at: datetime, form: str) -> str:
    """The entity tag of an answer: where the trails stand, program version, question, instant, representation."""
    chains = [INSTALLATION, *sorted(site_ids)]
    seqs = [(chain.seq if (chain := head(session, chain_id)) else 0) for chain_id in chains]
    question = sorted(request.query_params.multi_items())
    content = [seqs, __version__, request.url.path, question, at.isoformat(), form]
    return f'"{hashlib.sha256(canonical(content)).hexdigest()[:32]}"'


def held_already(request: Request, tag: str) -> Response | None:
    """The 304 for a reader who holds this answer, else None."""
    if is_held(request.headers.get("if-none-match"), tag):
        return Response(status_code=304, headers={"ETag": tag})
    return None
