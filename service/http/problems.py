"""RFC 9457 problem documents: one shape for every error, one table from the service's errors to HTTP."""

from __future__ import annotations

import re
import traceback
from collections.abc import Mapping, Sequence
from typing import Any

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException

from service import errors
from service.errors import Fault, ServiceError
from service.storage.types import canonical

log = structlog.get_logger()

MEDIA_TYPE = "application/problem+json"
RETRY_AFTER_SECONDS = "2"
SHOWN_CHARACTERS = 200
SECRET_FIELDS = {"present", "new", "password", "pin"}  # what came there is never echoed, right or wrong


class Kind(BaseModel):
    """What a class of problem is called, and its status."""

    model_config = ConfigDict(frozen=True)

    status: int
    slug: str
    title: str


KINDS: dict[type[ServiceError], Kind] = {
    errors.Malformed: Kind(status=400, slug="malformed", title="The request cannot be read"),
    errors.NotSignedIn: Kind(status=401, slug="not-signed-in", title="Sign in first"),
    errors.NotAllowed: Kind(status=403, slug="not-allowed", title="Not allowed"),
    errors.NotFound: Kind(status=404, slug="not-found", title="Not found"),
    errors.NotAcceptable: Kind(status=406, slug="not-acceptable", title="No such representation"),
    errors.Conflict: Kind(status=409, slug="conflict", title="Contradicts what is recorded"),
    errors.Stale: Kind(status=412, slug="stale", title="Changed since you read it"),
    errors.TooLarge: Kind(status=413, slug="too-large", title="Too large"),
    errors.Unacceptable: Kind(status=422, slug="unacceptable", title="Something sent cannot be accepted"),
    errors.NeedsConfirmation: Kind(status=422, slug="needs-confirmation", title="Implausible: confirm it"),
    errors.KeyReused: Kind(status=422, slug="key-reused", title="The key came before with other content"),
    errors.HeldBack: Kind(status=424, slug="held-back", title="Not stored: something beside it was refused"),
    errors.VersionRequired: Kind(status=428, slug="version-required", title="Say which version you change"),
    errors.TooMany: Kind(status=429, slug="too-many", title="Tried too often: wait a little"),
    errors.Busy: Kind(status=503, slug="busy", title="Try again soon"),
    errors.NotPrinted: Kind(status=500, slug="not-printed", title="The pages could not be made"),
}
METHOD_NOT_ALLOWED = Kind(status=405, slug="method-not-allowed", title="This path does not take that method")
UNEXPECTED = Kind(status=500, slug="unexpected", title="The service failed")
EVERY_KIND = (*KINDS.values(), METHOD_NOT_ALLOWED, UNEXPECTED)


class ProblemFault(BaseModel):
    """One field that is wrong."""

    pointer: str = Field(description="JSON Pointer (RFC 6901) into the body, or the parameter's name.")
    place: str = Field(alias="in", description="body, query, path or header")
    detail: str = Field(description="What was expected, and the remedy.")
    sent: Any = Field(description="What came, shortened.")


class Problem(BaseModel):
    """RFC 9457 problem details."""

    type: str
    title: str
    status: int
    detail: str
    errors: list[ProblemFault]


def may_refuse(*kinds: type[ServiceError]) -> dict[int | str, dict[str, Any]]:
    """The `responses=` of a route that may answer with these errors, from the table that sends them."""
    described: dict[int | str, dict[str, Any]] = {}
    for kind in sorted((KINDS[error] for error in kinds), key=lambda kind: kind.status):
        described[kind.status] = {"description": kind.title, "content": {MEDIA_TYPE: {"schema": PROBLEM_REFERENCE}}}
    return described


EVERYWHERE: tuple[type[ServiceError], ...] = (
    errors.NotSignedIn,
    errors.NotAllowed,
    errors.Unacceptable,
    errors.Busy,
)
PLAINLY = {
    "float_type": "A number is expected, without quotes.",
    "int_type": "A whole number is expected, without quotes.",
    "bool_type": "true or false is expected, without quotes.",
    "string_type": "Text in quotes is expected.",
    "list_type": "A list is expected.",
    "dict_type": "An object with fields is expected.",
    "model_type": "An object with fields is expected.",
    "model_attributes_type": "An object with fields is expected.",
    "finite_number": "A finite number is expected.",
}
PROBLEM_REFERENCE = {"$ref": "#/components/schemas/Problem"}


def status_of(error: ServiceError) -> int:
    """The HTTP status of an error."""
    return KINDS[type(error)].status


def problem(error: ServiceError) -> dict[str, Any]:
    """The problem document of an error, as plain JSON values."""
    return _document(KINDS[type(error)], error.detail, error.faults)


def answer(error: ServiceError, headers: Mapping[str, str] | None = None) -> Response:
    """The response that carries an error."""
    kind = KINDS[type(error)]
    extra = dict(headers or {})
    if kind.status == 401:
        extra["WWW-Authenticate"] = 'Bearer realm="ooid"'
    if kind.status == 503:
        extra["Retry-After"] = RETRY_AFTER_SECONDS
    if isinstance(error, errors.TooMany):
        extra["Retry-After"] = str(error.wait_seconds)
    return _response(kind, error.detail, error.faults, extra)


def install(app: FastAPI) -> None:
    """Make every error of the app a problem document, 404, 405 and 500 included."""
    app.add_exception_handler(ServiceError, _service_error)
    app.add_exception_handler(RequestValidationError, _validation_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(Exception, _unexpected)


def pointer(parts: Sequence[str | int]) -> str:
    """A JSON Pointer (RFC 6901) from the steps into a document."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def faults_of(found: Sequence[Any], body: Any, *, place: str | None = None) -> tuple[Fault, ...]:
    """The faults behind pydantic's validation errors of a body, each with its place and pointer."""
    return tuple(_fault(error, body, place) for error in found)


def _fault(error: Mapping[str, Any], body: Any, place: str | None) -> Fault:
    location = list(error["loc"])
    where = place or str(location.pop(0))
    if error["type"] == "json_invalid":
        return Fault("", f"The body is not JSON: {error['ctx']['error']} at character {location[0]}.", None, where)
    name = pointer(_steps_in(body, location)) if where == "body" else ".".join(map(str, location))
    if where == "body" and location and location[-1] in SECRET_FIELDS:
        error = {**error, "input": None}
    if error["type"] == "missing":
        return Fault(name, "This is required.", None, where)
    if error["type"] == "extra_forbidden":
        return Fault(name, "This field is not known here. Remove it or check its spelling.", error.get("input"), where)
    detail = PLAINLY.get(error["type"], error["msg"].removeprefix("Value error, "))
    return Fault(name, detail, error.get("input"), where)


def _steps_in(body: Any, location: Sequence[str | int]) -> list[str | int]:
    """The steps of a location that lead through what was sent: pydantic adds the branches of unions to its own."""
    steps: list[str | int] = []
    here = body
    for place, step in enumerate(location):
        if isinstance(here, list) and isinstance(step, int):
            here = here[step] if step < len(here) else None
        elif isinstance(here, Mapping) and step in here:
            here = here[step]
        elif not isinstance(here, Mapping) or place < len(location) - 1 or step == "[key]":
            continue  # not a missing field: the name of a branch, or that the key itself is meant
        steps.append(step)
    return steps


def _service_error(_request: Request, error: Exception) -> Response:
    assert isinstance(error, ServiceError)
    return answer(error)


def _validation_error(_request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    faults = faults_of(error.errors(), error.body)
    return answer(errors.Unacceptable(_sentence(faults), faults))


def _sentence(faults: Sequence[Fault]) -> str:
    first = faults[0]
    more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
    return f"{first.place} {first.pointer or '(whole)'}: {first.detail}{more}"


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    headers = dict(error.headers or {})
    if error.status_code == 405:
        described = ", ".join(allowed_methods(request.app, request.url.path))
        headers["Allow"] = described or headers.get("allow") or headers.get("Allow", "GET")
        return _response(METHOD_NOT_ALLOWED, f"This path takes {headers['Allow']}.", (), headers)
    if error.status_code == 404:
        return answer(errors.NotFound("There is nothing at this path. The API is described at /openapi.json."), headers)
    refusal = errors.TooLarge if error.status_code == 413 else errors.Malformed
    return answer(refusal(str(error.detail)), headers)


def allowed_methods(app: FastAPI, path: str) -> list[str]:
    """Every method that the API's own description gives for a path (RFC 9110 wants them all in `Allow`)."""
    allowed: set[str] = set()
    for template, operations in app.openapi()["paths"].items():
        expression = re.sub(r"\\\{[^}]*\\\}", "[^/]+", re.escape(template))
        if re.fullmatch(expression, path):
            allowed |= {method.upper() for method in operations if method in {"get", "put", "post", "patch", "delete"}}
    return sorted(allowed)


def _unexpected(_request: Request, error: Exception) -> Response:
    log.error("unexpected", traceback="".join(traceback.format_exception(error)))
    return _response(
        UNEXPECTED, "Nothing was stored. The failure is in the service's log; tell whoever runs it.", (), {}
    )


def _document(kind: Kind, detail: str, faults: Sequence[Fault]) -> dict[str, Any]:
    return {
        "type": f"/problems/{kind.slug}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "errors": [
            {"pointer": fault.pointer, "in": fault.place, "detail": fault.detail, "sent": _shown(fault.sent)}
            for fault in faults
        ],
    }


def _shown(sent: Any) -> Any:
    """What came, in a form that any JSON reader takes: short, and text where JSON has no word for it."""
    if sent is None or isinstance(sent, bool):
        return sent
    if isinstance(sent, int | float) and abs(sent) <= 2**53:
        return sent
    text = sent if isinstance(sent, str) else str(sent)
    return text[:SHOWN_CHARACTERS].encode("utf-8", "backslashreplace").decode()


def _response(kind: Kind, detail: str, faults: Sequence[Fault], headers: Mapping[str, str]) -> Response:
    safe = detail.encode("utf-8", "backslashreplace").decode()
    body = canonical(_document(kind, safe, faults))
    return Response(body, status_code=kind.status, media_type=MEDIA_TYPE, headers=dict(headers))
