"""JSON schemas in words and by example: what a field takes, within which limits, and what one could send."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup, escape

from service.http.shapes import LARGEST

Schema = Mapping[str, Any]
FORMATS = {"uuid": "UUID", "date-time": "time (RFC 3339, with offset)", "date": "date", "binary": "file"}
TYPES = {"string": "text", "integer": "whole number", "boolean": "true or false", "null": "null", "object": "object"}
EXAMPLES = {
    "uuid": "0190f3c2-7a51-7c10-8a3e-5f0d6c1b2a33",
    "date-time": "2026-11-20T08:00:00+01:00",
    "date": "2026-11-20",
}
SAMPLES: dict[str, Any] = {"string": "text", "integer": 1, "number": 1.0, "boolean": True, "null": None}
DEEPEST = 4
WHOLE_LIMIT = 2**31 - 1


@dataclass(frozen=True)
class Field:
    """A field of a body, or a parameter: its name, what it takes (HTML), its limits in words, what it is about."""

    name: str
    takes: Markup
    is_required: bool
    limits: str
    about: str
    place: str = "body"


def shape_anchor(name: str) -> str:
    """The anchor of a named shape on the page."""
    return f"shape-{name}"


def name_of(schema: Schema) -> str | None:
    """The name of the shape that a schema refers to, if it is a reference."""
    reference = schema.get("$ref")
    return None if reference is None else str(reference).rpartition("/")[2]


def fields_of(schema: Schema) -> list[Field]:
    """The fields of an object schema, in order."""
    required = schema.get("required", ())
    return [field_of(name, each, name in required) for name, each in schema.get("properties", {}).items()]


def field_of(name: str, schema: Schema, is_required: bool, *, place: str = "body", about: str = "") -> Field:
    """A field in words."""
    told = about or schema.get("description", "") or _description_within(schema)
    return Field(name, takes(schema), is_required, "; ".join(limits(schema)), told, place)


def takes(schema: Schema) -> Markup:
    """What a schema takes, in words (HTML): named shapes are links to their anchors."""
    name = name_of(schema)
    if name is not None:
        return Markup('<a href="#{}">{}</a>').format(shape_anchor(name), name)
    for choice in ("anyOf", "oneOf"):
        if choice in schema:
            return Markup(" or ").join(takes(each) for each in schema[choice])
    if "allOf" in schema:
        return Markup(" and ").join(takes(each) for each in schema["allOf"])
    if "const" in schema:
        return Markup("<code>{}</code>").format(schema["const"])
    if "enum" in schema:
        return Markup(" | ").join(Markup("<code>{}</code>").format(each) for each in schema["enum"])
    kind = schema.get("type")
    if kind == "array":
        return Markup("list of {}").format(takes(schema.get("items", {})))
    inner = _values_within(schema)
    if kind == "object" and inner is not None:
        return Markup("object of {}").format(takes(inner))
    return escape(FORMATS.get(schema.get("format", "")) or TYPES.get(str(kind), str(kind or "any JSON")))


def limits(schema: Schema) -> list[str]:
    """The limits of a schema in words, those of its alternatives included."""
    words = [each for alternative in schema.get("anyOf", ()) for each in limits(alternative)]
    words += _range(schema)
    for least, most, unit in (
        ("minLength", "maxLength", "characters"),
        ("minItems", "maxItems", "items"),
        ("minProperties", "maxProperties", "fields"),
    ):
        words += _count(schema.get(least), schema.get(most), unit)
    if "pattern" in schema:
        words.append(f"matches `{schema['pattern']}`")
    if schema.get("default") not in (None, {}, []):
        words.append(f"default `{_shown(schema['default'])}`")
    return words


def sample(schema: Schema, named: Mapping[str, Schema], depth: int = 0) -> Any:
    """One value that the schema takes, with its required fields only: examples first, then the plainest value."""
    name = name_of(schema)
    if name is not None:
        return sample(named[name], named, depth)
    for key in ("const", "default"):
        if schema.get(key) is not None:
            return schema[key]
    for key in ("examples", "enum"):
        if schema.get(key):
            return schema[key][0]
    for choice in ("anyOf", "oneOf", "allOf"):
        if choice in schema:
            return sample(schema[choice][0], named, depth)
    kind = schema.get("type")
    if kind == "array":
        return [sample(schema.get("items", {}), named, depth + 1)] if depth < DEEPEST else []
    if kind == "object":
        properties = schema.get("properties", {})
        wanted = schema.get("required", ()) if depth < DEEPEST else ()
        return {each: sample(properties[each], named, depth + 1) for each in wanted if each in properties}
    return EXAMPLES.get(schema.get("format", "")) or _plain(schema, str(kind))


def _plain(schema: Schema, kind: str) -> Any:
    value = SAMPLES.get(kind)
    if kind in ("number", "integer"):
        most = schema.get("maximum", schema.get("le", schema.get("exclusiveMaximum", schema.get("lt"))))
        if most is not None and value is not None and most <= value:
            return most / 2
    return value


def _range(schema: Schema) -> list[str]:
    low = _bound(schema, ("minimum", "ge"))
    high = _bound(schema, ("maximum", "le"))
    above = _bound(schema, ("exclusiveMinimum", "gt"))
    below = _bound(schema, ("exclusiveMaximum", "lt"))
    words = []
    if above is not None:
        words.append(f"above {above:g}")
    elif low is not None:
        words.append(f"from {low:g}")
    if below is not None:
        words.append(f"below {below:g}")
    elif high is not None:
        words.append(f"to {high:g}" if low is not None and above is None else f"at most {high:g}")
    joint = " " if above is None and below is None else ", "
    return [joint.join(words)] if words else []


def _bound(schema: Schema, keys: tuple[str, ...]) -> float | None:
    """The bound of a number, unless it only keeps sums finite."""
    found = next((schema[key] for key in keys if key in schema), None)
    return None if found is None or abs(found) >= min(LARGEST, WHOLE_LIMIT) else float(found)


def _count(least: int | None, most: int | None, unit: str) -> list[str]:
    if least and most:
        return [f"{least} to {most} {unit}"]
    if most:
        return [f"at most {most} {unit}"]
    return [f"at least {least} {unit}"] if least else []


def _values_within(schema: Schema) -> Schema | None:
    inner = schema.get("additionalProperties")
    if isinstance(inner, Mapping):
        return inner
    return next(iter(schema.get("patternProperties", {}).values()), None)


def _description_within(schema: Schema) -> str:
    return next((each["description"] for each in schema.get("anyOf", ()) if "description" in each), "")


def _shown(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)
