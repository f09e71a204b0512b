"""Making and revoking tokens. Nobody makes a token that can do more, or lasts longer, than they themselves."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import UUID

from service.access.caller import Work
from service.access.models import Token
from service.access.rights import RIGHTS, Right
from service.access.secrets import hashed, new_token
from service.errors import Fault, Unacceptable
from service.resources.people.sites import SiteNamed, existing
from service.resources.people.tokens import queries
from service.resources.people.tokens.models import TokenSent
from service.resources.people.watched import TOKEN, enter, token_body
from service.storage.types import new_id

LASTS = timedelta(days=365)
LASTS_AT_MOST = timedelta(days=3653)


def make(work: Work, sent: TokenSent, site_named: SiteNamed) -> tuple[Token, str]:
    """The new token and its secret, which is stored nowhere."""
    site_id = existing(work, site_named, sent.site_id, pointer="/site_id")
    work.caller.require(Right.ADMINISTER, site_id)
    scopes = None if sent.scopes is None else frozenset(sent.scopes)
    _refuse_beyond_role(sent)
    work.caller.require_covers(sent.role, scopes, site_id)
    secret = new_token()
    token = Token(
        id=new_id(),
        name=sent.name,
        site_id=site_id,
        role=sent.role,
        scopes=None if scopes is None else sorted(scopes),
        secret_hash=hashed(secret),
        created_at=work.at,
        created_by=work.caller.id,
        expires_at=_expiry(work, sent.expires_at),
    )
    work.session.add(token)
    enter(work, TOKEN, token, "made")
    return token, secret


def revoke(work: Work, token_id: UUID) -> Token:
    """The token after its revocation, from this instant on; a revoked one stays as it is."""
    token = queries.found(work, token_id)
    if token.revoked_at is None:
        before = token_body(token)
        token.revoked_at = work.at
        token.version += 1
        enter(work, TOKEN, token, "revoked", before=before)
    return token


def _refuse_beyond_role(sent: TokenSent) -> None:
    for index, scope in enumerate(sent.scopes or []):
        if scope not in RIGHTS[sent.role]:
            may = ", ".join(sorted(RIGHTS[sent.role]))
            detail = f"The role '{sent.role}' does not bring this right; it brings {may}."
            raise Unacceptable(detail, (Fault(f"/scopes/{index}", detail, str(scope)),))


def _expiry(work: Work, asked: datetime | None) -> datetime:
    """When a new token ends: as asked, else in a year, and never after the token it was made with."""
    if asked is not None and not work.at < asked <= work.at + LASTS_AT_MOST:
        detail = "A time in the future is expected, within ten years."
        raise Unacceptable(detail, (Fault("/expires_at", detail, asked.isoformat()),))
    ends = asked or work.at + LASTS
    makers_end = work.caller.expires_at if work.caller.kind == "token" else None
    return ends if makers_end is None else min(ends, makers_end)
