"""The API's own description (OpenAPI 3.1), told as it is: errors are problem documents, operations have one name."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute

from service.errors import Malformed, Unacceptable
from service.http.problems import Problem, may_refuse

ABOUT = """\
Records and computations for people who keep many stony-coral systems. Every error is an RFC 9457 problem document that
names the field. Records take `PUT` under an id of your own making and may be sent again without harm. The service
records and computes; it does not switch gas and is no safety system.
"""


UNREADABLE = may_refuse(Malformed)[400]
UNACCEPTABLE = may_refuse(Unacceptable)[422]


def operation_name(route: APIRoute) -> str:
    """The operationId: the route's own name, so that renaming one is a change of the API."""
    return route.name


def install(app: FastAPI) -> None:
    """Make `app.openapi()` give the finished document, computed once."""

    def openapi() -> dict[str, Any]:
        if not app.openapi_schema:
            app.openapi_schema = _finished(
                get_openapi(title=app.title, version=app.version, description=ABOUT, routes=app.routes)
            )
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def _finished(document: dict[str, Any]) -> dict[str, Any]:
    schemas = document["components"]["schemas"]
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}", by_alias=True)
    schemas.update(problem.pop("$defs"))
    schemas["Problem"] = problem
    for item in document["paths"].values():
        for operation in item.values():
            responses = operation["responses"]
            if "requestBody" in operation:
                responses.setdefault("400", UNREADABLE)  # bytes that are no text, numbers of thousands of digits
            if _is_default_refusal(responses.get("422")):
                responses["422"] = UNACCEPTABLE
    return document


def _is_default_refusal(response: dict[str, Any] | None) -> bool:
    return response is not None and "HTTPValidationError" in str(response)
