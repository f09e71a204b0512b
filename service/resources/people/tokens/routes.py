"""/v1/tokens"""

# No postponed annotations here: the routes are made inside a function that brings what they need.

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Response

from service.access.rights import Right
from service.errors import Malformed, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.paging import PageOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Id
from service.resources.people.sites import SiteNamed
from service.resources.people.tokens import actions, queries
from service.resources.people.tokens.models import TokenMade, TokenRead, TokenSent
from service.resources.people.watched import token_body

TokenId = Annotated[Id, Path(description="The token's id (not its secret).")]


def token_routes(site_named: SiteNamed) -> APIRouter:
    """The routes of tokens; `site_named` resolves a site within a scope."""
    router = APIRouter(prefix="/tokens", tags=["tokens"])

    @router.post("", status_code=201, response_model=TokenMade, responses=may_refuse(Unacceptable, NotFound, TooLarge))
    def make_token(sent: TokenSent, door: DoorOf, response: Response) -> Any:
        """Make a token, with at most your own rights. Its secret is shown this once."""
        with door.write(Right.ADMINISTER) as work:
            token, secret = actions.make(work, sent, site_named)
            response.headers["Location"] = f"/v1/tokens/{token.id}"
            return {**token_body(token), "secret": secret}

    @router.get("", response_model=list[TokenRead], responses=may_refuse(Unacceptable, Malformed, NotFound))
    def list_tokens(
        door: DoorOf,
        page: PageOf,
        site: Annotated[
            str | None, Query(max_length=40, pattern=PRINTABLE, description="Only those of this site: its tag or id.")
        ] = None,
    ) -> Any:
        """The tokens of the sites you administer, revoked ones included."""
        with door.read(Right.ADMINISTER) as work:
            scope = work.caller.scope_of(Right.ADMINISTER)
            site_id = None if site is None else site_named(work.session, scope, site)
            tokens = queries.visible(work.session, scope, site_id=site_id, after=page.after_id(), limit=page.limit + 1)
            return [token_body(token) for token in page.close(tokens, lambda token: [str(token.id)])]

    @router.get("/{token_id}", response_model=TokenRead, responses=may_refuse(Unacceptable, NotFound))
    def read_token(token_id: TokenId, door: DoorOf) -> Any:
        """One token."""
        with door.read(Right.ADMINISTER) as work:
            return token_body(queries.found(work, token_id))

    @router.post("/{token_id}/revocation", response_model=TokenRead, responses=may_refuse(Unacceptable, NotFound))
    def revoke_token(token_id: TokenId, door: DoorOf) -> Any:
        """Revoke a token: from this answer on it opens nothing."""
        with door.write(Right.ADMINISTER) as work:
            return token_body(actions.revoke(work, token_id))

    return router
