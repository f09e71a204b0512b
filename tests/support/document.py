"""Every response against the API's own document: an undocumented status or a body of another shape fails the test."""

from __future__ import annotations

import re
from functools import cached_property
from typing import Any

import jsonschema
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

METHODS = ("get", "put", "post", "patch", "delete")


class Document:
    """An OpenAPI document that judges responses."""

    def __init__(self, openapi: dict[str, Any]) -> None:
        self.openapi = openapi
        self._paths = [
            (re.compile(re.sub(r"\\\{[^}]*\\\}", "[^/]+", re.escape(template)) + "$"), template)
            for template in sorted(openapi["paths"], key=lambda template: template.count("{"))
        ]

    @cached_property
    def _registry(self) -> Registry[Any]:
        return Registry().with_resource(
            "urn:api", Resource.from_contents(self.openapi, default_specification=DRAFT202012)
        )

    def operations(self) -> set[tuple[str, str]]:
        """Every (METHOD, path template)."""
        return {
            (method.upper(), path)
            for path, item in self.openapi["paths"].items()
            for method in item
            if method in METHODS
        }

    def template_of(self, path: str) -> str | None:
        """The path template that a concrete path belongs to, or None."""
        return next((template for expression, template in self._paths if expression.match(path)), None)

    def judge(self, method: str, path: str, status: int, content_type: str, body: Any) -> None:
        """Raise AssertionError unless the document has this status, media type and shape for the operation."""
        template = self.template_of(path)
        item = self.openapi["paths"].get(template or "", {})
        operation = item.get(method.lower())
        if operation is None:
            assert status in (401, 404, 405, 413), f"{method} {path} answered {status} but is not documented"
            return
        documented = operation["responses"]
        assert str(status) in documented, f"{method} {template} answered {status}, documented are {sorted(documented)}"
        content = documented[str(status)].get("content")
        if not content:
            return
        media_type = content_type.split(";")[0]
        assert media_type in content, (
            f"{method} {template} {status} came as {media_type}, documented is {list(content)}"
        )
        schema = content[media_type].get("schema")
        if schema and body is not None:
            self.validate(schema, body, where=f"{method} {template} {status}")

    def validate(self, schema: dict[str, Any], body: Any, *, where: str) -> None:
        """Raise AssertionError unless the body has the schema's shape."""
        resolved = {"$ref": "urn:api" + schema["$ref"]} if "$ref" in schema else _absolute(schema)
        errors = list(jsonschema.Draft202012Validator(resolved, registry=self._registry).iter_errors(body))
        assert not errors, f"{where}: {errors[0].message} at {errors[0].json_path}"


def _absolute(schema: Any) -> Any:
    if isinstance(schema, dict):
        return {
            key: "urn:api" + value if key == "$ref" and value.startswith("#") else _absolute(value)
            for key, value in schema.items()
        }
    return [_absolute(part) for part in schema] if isinstance(schema, list) else schema
