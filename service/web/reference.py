"""The reference of the API as a page, printed from the API's own OpenAPI document."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI
from markupsafe import Markup

from service.http.problem_pages import EXPLANATIONS
from service.http.problems import EVERY_KIND
from service.web.pages import text
from service.web.schemas import Field, Schema, field_of, fields_of, name_of, sample, takes

METHODS = ("get", "put", "post", "patch", "delete")
JSON = "application/json"
FORM = "application/x-www-form-urlencoded"
FRAMEWORKS_WORD, DONE = "Successful Response", "Done"


@dataclass(frozen=True)
class Outcome:
    """One status an operation answers with: what it means, as which media types, holding what (HTML)."""

    status: str
    about: str
    media_types: list[str]
    holds: Markup

    @property
    def is_refusal(self) -> bool:
        """Whether this status carries a problem."""
        return self.status >= "400"


@dataclass(frozen=True)
class Operation:
    """One operation: what it does, what it needs, what it takes and answers, and how to call it."""

    anchor: str
    method: str
    path: str
    summary: str
    about: str
    right: str | None
    parameters: list[Field]
    body: Markup
    fields: list[Field]
    outcomes: list[Outcome]
    curl: str


@dataclass(frozen=True)
class Chapter:
    """The operations of one tag."""

    name: str
    operations: list[Operation]


@dataclass(frozen=True)
class NamedShape:
    """A shape that bodies refer to by name."""

    name: str
    about: str
    fields: list[Field]
    takes: Markup


@dataclass(frozen=True)
class Printed:
    """The finished page of one document."""

    document: Mapping[str, Any]
    html: str
    tag: str


def printed(app: FastAPI) -> Printed:
    """The reference page of an app, printed once for each document that the app gives."""
    document = app.openapi()
    held: Printed | None = getattr(app.state, "reference", None)
    if held is None or held.document is not document:
        html = text(
            "reference.html",
            document=document,
            chapters=chapters(document),
            shapes=shapes(document),
            kinds=EVERY_KIND,
            meanings=EXPLANATIONS,
        )
        held = Printed(document, html, f'"{hashlib.sha256(html.encode()).hexdigest()[:32]}"')
        app.state.reference = held
    return held


def chapters(document: Mapping[str, Any]) -> list[Chapter]:
    """Every operation of the document, by tag, in the document's order."""
    found: dict[str, list[Operation]] = {}
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                operation = item[method]
                tag = operation.get("tags", ["other"])[0]
                found.setdefault(tag, []).append(_operation(document, path, method, operation))
    return [Chapter(name, operations) for name, operations in found.items()]


def shapes(document: Mapping[str, Any]) -> list[NamedShape]:
    """Every named shape of the document, by name."""
    return [
        NamedShape(name, schema.get("description", ""), fields_of(schema), takes(schema))
        for name, schema in sorted(document["components"]["schemas"].items())
    ]


def _operation(document: Mapping[str, Any], path: str, method: str, operation: Mapping[str, Any]) -> Operation:
    named = document["components"]["schemas"]
    content = operation.get("requestBody", {}).get("content", {})
    body: Schema = next((each.get("schema", {}) for each in content.values()), {})
    summary, about = _told(operation)
    return Operation(
        anchor=operation["operationId"],
        method=method.upper(),
        path=path,
        summary=summary,
        about=about,
        right=operation.get("x-right"),
        parameters=[_parameter(each) for each in operation.get("parameters", ())],
        body=takes(body) if content else Markup(),
        fields=fields_of(_resolved(body, named)),
        outcomes=[_outcome(status, told) for status, told in sorted(operation["responses"].items())],
        curl=_curl(path, method, operation, sample(body, named) if content else None),
    )


def _told(operation: Mapping[str, Any]) -> tuple[str, str]:
    """Summary and description; one that the framework made of the operation's name gives way to the description."""
    summary, about = operation.get("summary", ""), operation.get("description", "")
    if summary.lower() == operation["operationId"].replace("_", " ").lower() and about:
        first, _, rest = about.partition("\n\n")
        return first.replace("\n", " "), rest
    return summary, about


def _resolved(schema: Schema, named: Mapping[str, Schema]) -> Schema:
    name = name_of(schema)
    return schema if name is None else named[name]


def _parameter(told: Mapping[str, Any]) -> Field:
    return field_of(
        told["name"],
        told.get("schema", {}),
        told.get("required", False),
        place=told["in"],
        about=told.get("description", ""),
    )


def _outcome(status: str, told: Mapping[str, Any]) -> Outcome:
    content = told.get("content", {})
    schema: Schema = next((each.get("schema", {}) for each in content.values()), {})
    about = told["description"] if told["description"] != FRAMEWORKS_WORD else DONE
    return Outcome(status, about, list(content), takes(schema) if schema else Markup())


def _curl(path: str, method: str, operation: Mapping[str, Any], body: Any) -> str:
    """A call that can be copied: placeholders in capitals for what only the caller knows."""
    query = []
    for each in operation.get("parameters", ()):
        placeholder = each["name"].upper().replace("-", "_")
        if each["in"] == "path":
            path = path.replace("{" + each["name"] + "}", placeholder)
        elif each["in"] == "query" and each.get("required"):
            query.append(f"{quote(each['name'])}={placeholder}")
    words = ["curl"]
    if method != "get":
        words.append(f"-X {method.upper()}")
    if operation.get("security"):
        words.append('-H "Authorization: Bearer $OOID_TOKEN"')
    if any(each["in"] == "header" and each["name"].lower() == "if-match" for each in operation.get("parameters", ())):
        words.append("-H 'If-Match: \"1\"'")
    words.append(f'"$OOID_URL{path}{"?" + "&".join(query) if query else ""}"')
    content = operation.get("requestBody", {}).get("content", {})
    if body is not None and JSON in content:
        words.append(f"-H 'Content-Type: {JSON}' -d {_quoted(json.dumps(body, ensure_ascii=False))}")
    elif body is not None and FORM not in content:  # a file as it is
        words.append(f"-H 'Content-Type: {next(iter(content))}' --data-binary @FILE")
    elif body is not None:
        words += [f"--data-urlencode {_quoted(f'{name}={value}')}" for name, value in body.items()]
    return " ".join(words)


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"
