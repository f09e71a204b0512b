"""`ooid token`"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Annotated
from uuid import UUID

import typer
from sqlmodel import col, select

from service.access.caller import Work
from service.access.models import Token
from service.access.rights import Right, Role
from service.cli.opening import EVERY_SITE, reading, site_id_of, writing
from service.cli.refusal import Refusal
from service.http.shapes import UUID_TEXT
from service.resources.people.tokens import actions, queries
from service.resources.people.tokens.models import TokenSent
from service.resources.places.sites.queries import id_named, visible

app = typer.Typer(help="Make, list and revoke tokens for scripts.", no_args_is_help=True)

DURATION = re.compile(r"^(\d{1,4})d$")


@app.command("create")
def create(
    name: Annotated[str, typer.Option(help="What it is for, such as 'weekly pull'.")],
    role: Annotated[Role, typer.Option(help="At most this role's rights.")],
    site: Annotated[str | None, typer.Option(help="A site's tag or id; without it, the whole installation.")] = None,
    scope: Annotated[list[Right] | None, typer.Option(help="Cut down to this right; may be repeated.")] = None,
    expires: Annotated[str, typer.Option(help="An RFC 3339 time, or days such as 90d.")] = "365d",
) -> None:
    """Make a token. Prints the token alone; it cannot be shown again."""
    with writing() as work:
        sent = TokenSent.model_validate(
            {
                "name": name,
                "role": role,
                "site_id": site_id_of(work, site),
                "scopes": scope or None,
                "expires_at": _expiry(work.at, expires),
            }
        )
        _token, secret = actions.make(work, sent, id_named)
    print(secret)


@app.command("list")
def list_all() -> None:
    """List tokens, one a line: id, name, role, site, rights, until when, and whether it was revoked."""
    with reading() as work:
        tags = {site.id: site.tag for site in visible(work.session, EVERY_SITE)}
        for token in queries.visible(work.session, EVERY_SITE):
            where = "every site" if token.site_id is None else tags[token.site_id]
            until = "no end" if token.expires_at is None else f"until {token.expires_at:%Y-%m-%d %H:%M}Z"
            state = "in force" if token.revoked_at is None else f"revoked {token.revoked_at:%Y-%m-%d %H:%M}Z"
            rights = "all rights of its role" if token.scopes is None else ", ".join(token.scopes)
            print(token.id, token.name, token.role, where, rights, until, state, sep="\t")


@app.command("revoke")
def revoke(token: Annotated[str, typer.Argument(help="The token's id or name (not its secret).")]) -> None:
    """Revoke a token at once."""
    with writing() as work:
        found = actions.revoke(work, _id_of(work, token))
        print(f"Revoked {found.name} ({found.id}).")


def _expiry(now: datetime, text: str) -> datetime | str:
    days = DURATION.match(text)
    return text if days is None else now + timedelta(days=int(days[1]))


def _id_of(work: Work, text: str) -> UUID:
    if UUID_TEXT.match(text):
        return UUID(text)
    named = work.session.exec(select(Token.id).where(Token.name == text, col(Token.revoked_at).is_(None))).all()
    if len(named) != 1:
        how_many = "No token" if not named else "More than one token"
        raise Refusal(f"{how_many} in force is called '{text}'. Take the id from `ooid token list`.")
    return named[0]
