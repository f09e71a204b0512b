"""/problems/{slug}: what a kind of problem means and what to do about it; the `type` of every problem leads here."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request

from service.errors import NotFound
from service.http.pages import page, wants_page
from service.http.problems import EVERY_KIND, may_refuse
from service.http.shapes import Shape

router = APIRouter(tags=["problems"])

EXPLANATIONS: dict[str, str] = {
    "malformed": "A header, a cursor or the form of the request cannot be read. Compare it with /openapi.json.",
    "not-signed-in": "No valid token or session came along. Make a token with `ooid token create`, or sign in again; "
    "a token may have expired or been revoked.",
    "not-allowed": "You are known here and may not do this. An administrator can give a role or a token that may.",
    "not-found": "There is no such thing, or it belongs to a site you may not know of. Check the id in the path.",
    "not-acceptable": "The answer comes in none of the formats asked for. See which ones the operation lists.",
    "conflict": "What was sent contradicts what is recorded, such as another record under the same id or a tag in use. "
    "Nothing was changed. Read what is recorded, then correct it or choose another id.",
    "stale": "Somebody changed this after you read it. Read it again and send the change with the new `ETag`.",
    "too-large": "The body, batch or span is more than one request may carry. Send it in parts.",
    "unacceptable": "Something sent is understood and refused. Each entry of `errors` names a field, says what was "
    "expected and what came. Nothing was stored.",
    "needs-confirmation": "The value is possible and far from the usual. Look again; if it is right, send it with "
    "`confirm: true`, and it is stored with a flag.",
    "key-reused": "The same `Idempotency-Key` came before with other content. Use a new key for a new record.",
    "held-back": "This was good in itself and not stored: the batch was to be stored whole, and another item was "
    "refused. Mend that one and send the batch again.",
    "version-required": "A change says which version it changes: send `If-Match` with the `ETag` of what you read.",
    "too-many": "A name or an address was tried too often with a wrong password. Wait the seconds in `Retry-After`; "
    "nobody is locked out for good, and a one-time link works at once.",
    "busy": "The service cannot take this now. Send it again after the seconds in `Retry-After`; with the same id "
    "it is stored once.",
    "not-printed": "The document could not be set as PDF; the fault is on this side and stands in the service's log. "
    "The same is there as a web page, which prints.",
    "method-not-allowed": "The path is there and takes other methods: see the `Allow` header.",
    "unexpected": "The fault is on this side and stands in the service's log. Nothing was stored.",
}


class ProblemKind(Shape):
    """A kind of problem, what it means and what to do."""

    slug: str
    title: str
    status: int
    meaning: str


@router.get(
    "/problems/{slug}",
    response_model=ProblemKind,
    responses={**may_refuse(NotFound), 200: {"content": {"text/html": {}}, "description": "What the problem means"}},
)
async def explain_problem(request: Request, slug: Annotated[str, Path(max_length=40)]) -> Any:
    """What a kind of problem means and what to do: a page for browsers, JSON for scripts."""
    kind = next((kind for kind in EVERY_KIND if kind.slug == slug), None)
    if kind is None:
        raise NotFound("There is no kind of problem by this name.")
    if wants_page(request.headers.get("accept")):
        return page(kind.title, [f"Status {kind.status}.", EXPLANATIONS[slug]])
    return ProblemKind(slug=slug, title=kind.title, status=kind.status, meaning=EXPLANATIONS[slug])
