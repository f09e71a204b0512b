"""The reference of the API says what the OpenAPI document (OAS 3.1, JSON Schema 2020-12) says, all of it."""

from __future__ import annotations

import json
import re
import shlex
from typing import Any

import pytest
from support.house import House
from web.parsed import Element, assert_harmless, parsed
from web.visitor import look

from service.http.problems import EVERY_KIND
from service.web.prose import inline, prose
from service.web.reference import chapters, printed, shapes
from service.web.schemas import field_of, limits, sample, takes


@pytest.fixture
def page(house: House) -> Element:
    """The reference as served."""
    return parsed(look(house, "/docs").text)


def test_every_operation_is_there_with_every_parameter_field_and_status(house: House, page: Element) -> None:
    assert_harmless(page)
    schemas = house.document.openapi["components"]["schemas"]
    for method, path in sorted(house.document.operations()):
        told = house.document.openapi["paths"][path][method.lower()]
        article = page.one("article", id=told["operationId"])
        assert article.one("h3").text == f"{method} {path}"
        for parameter in told.get("parameters", ()):
            assert parameter["name"] in article.text
        for status in told["responses"]:
            place = article.one("p", class_="refusals") if status >= "400" else article.one("dl", class_="outcomes")
            assert status in place.text
        content = told.get("requestBody", {}).get("content", {})
        for body in content.values():
            name = body["schema"].get("$ref", "").rpartition("/")[2]
            names = [each.one("code").text for each in article.every("th", scope="row") if each.every("code")]
            assert set(schemas.get(name, {}).get("properties", {})) <= set(names)


def test_every_link_within_leads_somewhere(page: Element) -> None:
    ids = {each.attributes["id"] for each in page.every() if "id" in each.attributes}
    links = [each.attributes["href"] for each in page.every("a") if each.attributes["href"].startswith("#")]
    assert len(links) > 300
    assert {link[1:] for link in links} <= ids


def test_every_problem_is_explained(page: Element) -> None:
    for kind in EVERY_KIND:
        assert page.one("a", href=f"/problems/{kind.slug}")


def test_calls_are_good_shell_and_their_bodies_are_accepted_by_the_schemas(house: House) -> None:
    document = house.document.openapi
    for chapter in chapters(document):
        for operation in chapter.operations:
            words = shlex.split(operation.curl)
            assert words[0] == "curl"
            assert ("-X" in words) == (operation.method != "GET")
            address = next(word for word in words if word.startswith("$OOID_URL"))
            assert house.document.template_of(address.removeprefix("$OOID_URL").partition("?")[0]) is not None
            assert "{" not in address
            if "-d" in words:
                content = document["paths"][operation.path][operation.method.lower()]["requestBody"]["content"]
                body = json.loads(words[words.index("-d") + 1])
                house.document.validate(content["application/json"]["schema"], body, where=operation.anchor)


def test_it_is_printed_once_and_a_reader_who_holds_it_gets_304(house: House) -> None:
    first = look(house, "/docs")
    assert printed(house.app) is printed(house.app)
    again = look(house, "/docs", If_None_Match=first.headers["etag"])
    assert (again.status_code, again.text) == (304, "")


def test_another_document_is_printed_anew(house: House) -> None:
    before = printed(house.app)
    document = house.app.openapi()
    try:
        house.app.openapi_schema = {**document, "info": {"title": "Ooid", "version": "9", "description": "New."}}
        assert printed(house.app).tag != before.tag
        assert "Version 9" in printed(house.app).html
    finally:
        house.app.openapi_schema = document


def test_summaries_that_repeat_the_operations_name_give_way_to_its_description() -> None:
    operation = {
        "operationId": "list_quantities",
        "summary": "List Quantities",
        "description": "Everything that can be measured.\n\nBy code.",
        "tags": ["quantities"],
        "responses": {"200": {"description": "Successful Response"}},
        "x-right": "read",
    }
    ((chapter,),) = [chapters({"paths": {"/v1/quantities": {"get": operation}}, "components": {"schemas": {}}})]
    (told,) = chapter.operations
    assert (told.summary, told.about, told.right) == ("Everything that can be measured.", "By code.", "read")
    assert told.outcomes[0].about == "Done"


def test_shapes_of_a_schema_of_every_kind() -> None:
    told = shapes({"components": {"schemas": {"A": {"type": "object", "properties": {"b": {"type": "integer"}}}}}})
    assert [(each.name, [field.name for field in each.fields]) for each in told] == [("A", ["b"])]


@pytest.mark.parametrize(
    ("schema", "words", "limit"),
    [
        ({"type": "string", "format": "uuid"}, "UUID", ""),
        ({"type": "string", "minLength": 1, "maxLength": 40}, "text", "1 to 40 characters"),
        ({"type": "string", "pattern": "^a$"}, "text", "matches `^a$`"),
        ({"type": "array", "items": {"type": "number"}, "maxItems": 5000}, "list of number", "at most 5000 items"),
        ({"anyOf": [{"type": "number", "gt": 0, "lt": 1}, {"type": "null"}]}, "number or null", "above 0, below 1"),
        ({"type": "number", "minimum": 0, "maximum": 60}, "number", "from 0 to 60"),
        ({"type": "number", "exclusiveMinimum": 0, "maximum": 60}, "number", "above 0, at most 60"),
        ({"type": "number", "ge": -1e15, "le": 1e15}, "number", ""),
        ({"type": "boolean", "default": False}, "true or false", "default `false`"),
        ({"enum": ["a", "b"]}, "<code>a</code> | <code>b</code>", ""),
        ({"const": "<b>"}, "<code>&lt;b&gt;</code>", ""),
        ({"$ref": "#/components/schemas/Amount"}, '<a href="#shape-Amount">Amount</a>', ""),
        ({"type": "object", "additionalProperties": {"type": "integer"}}, "object of whole number", ""),
        ({"type": "object", "patternProperties": {"^a": {"type": "string"}}}, "object of text", ""),
        ({}, "any JSON", ""),
    ],
)
def test_schemas_in_words(schema: dict[str, Any], words: str, limit: str) -> None:
    assert str(takes(schema)) == words
    assert "; ".join(limits(schema)) == limit


def test_samples_have_the_required_fields_and_come_to_an_end() -> None:
    named: dict[str, Any] = {
        "Node": {
            "type": "object",
            "required": ["next", "value"],
            "properties": {
                "next": {"$ref": "#/components/schemas/Node"},
                "value": {"type": "number", "maximum": 0.5},
                "left_out": {"type": "string"},
            },
        }
    }
    made = sample({"$ref": "#/components/schemas/Node"}, named)
    assert made["value"] <= 0.5
    assert "left_out" not in json.dumps(made)


def test_a_field_takes_its_description_from_within() -> None:
    field = field_of("x", {"anyOf": [{"type": "number", "description": "How much."}, {"type": "null"}]}, False)
    assert field.about == "How much."


def test_descriptions_are_escaped_with_code_between_backticks() -> None:
    assert inline("a `<b>` <c>") == "a <code>&lt;b&gt;</code> &lt;c&gt;"
    assert re.findall("<p>", prose("one\n\ntwo")) == ["<p>", "<p>"]
