"""Bad input: refused with its field by JSON Pointer, never a 5xx, and nothing half-written."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID, uuid4

import orjson
import pytest
from access.conversation import Answer, asgi, talk
from support.house import House

from service.storage import trail

SITE = {"name": "The Reefhouse", "time_zone": "Europe/Oslo"}


@pytest.fixture(scope="module")
def system(house: House) -> Any:
    """A system to record against."""
    return house.a_system()


def raw(house: House, method: str, path: str, body: bytes, content_type: str = "application/json") -> Answer:
    """The answer to these very bytes."""
    headers = {"Content-Type": content_type, "Authorization": f"Bearer {house.administrator}"}
    return asgi(house.app, method, path, headers=headers, chunks=[body])


def reading(house: House, system: Any, **fields: str) -> bytes:
    """A reading as JSON text, its fields replaced by JSON text as it stands."""
    content = {
        "subject_id": json.dumps(system["id"]),
        "quantity": '"alkalinity"',
        "value": "8.2",
        "unit": '"dKH"',
        "taken_at": json.dumps(house.now.isoformat()),
        **fields,
    }
    return ("{" + ", ".join(f'"{name}": {text}' for name, text in content.items()) + "}").encode()


def put(house: House, body: bytes) -> Answer:
    """The answer to a reading of these bytes."""
    return raw(house, "PUT", f"/v1/readings/{uuid4()}", body)


def pointers(answer: Answer) -> list[str]:
    """The fields that a refusal names."""
    return [fault["pointer"] for fault in answer.problem["errors"]]


def test_the_reading_that_the_others_spoil_is_good(house: House, system: Any) -> None:
    assert put(house, reading(house, system)).status == 201


@pytest.mark.parametrize(
    "value",
    [
        '"8.2"', "true", "false", "null", "NaN", "Infinity", "-Infinity", "1e400", "-1e400", "[8.2]", "{}", '""',
        "1" + "0" * 400, "1" + "0" * 5000, "1e16",
    ],
)  # fmt: skip
def test_only_a_number_is_a_number(house: House, system: Any, value: str) -> None:
    before = head(house, system)
    answer = put(house, reading(house, system, value=value))
    assert answer.status in (400, 422)
    if answer.status == 422:  # 400: the text is not JSON that can be read at all
        assert pointers(answer) == ["/value"]
    assert head(house, system) == before


def test_a_number_without_a_fraction_is_a_number(house: House, system: Any) -> None:
    assert put(house, reading(house, system, value="8")).status == 201
    assert put(house, reading(house, system, value="8.20e0")).status == 201


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"unti": '"dKH"'}, "/unti"),
        ({"a/b~c": "1"}, "/a~1b~0c"),  # RFC 6901 section 3
        ({"": "1"}, "/"),
        ({"conditions": '{"Scale": 1}'}, "/conditions/Scale"),
        ({"purpose": '"party"'}, "/purpose"),
        ({"subject_id": '"7"'}, "/subject_id"),
        ({"subject_id": "7"}, "/subject_id"),
        ({"taken_at": '"2026-03-02T12:00:00"'}, "/taken_at"),  # no offset
        ({"taken_at": "1772452800"}, "/taken_at"),
        ({"taken_at": '"0001-01-01T00:00:00Z"'}, "/taken_at"),
        ({"taken_at": '"2026-02-30T00:00:00Z"'}, "/taken_at"),
        ({"confirm": '"yes"'}, "/confirm"),
        ({"confirm": "1"}, "/confirm"),
        ({"quantity": '"Alkalinity"'}, "/quantity"),
        ({"note": '"' + "x" * 4001 + '"'}, "/note"),
        ({"note": '""'}, "/note"),
    ],
)
def test_a_field_that_is_wrong_is_named(house: House, system: Any, fields: dict[str, str], pointer: str) -> None:
    answer = put(house, reading(house, system, **fields))
    assert (answer.status, pointers(answer)[0]) == (422, pointer)
    fault = answer.problem["errors"][0]
    assert fault["in"] == "body"
    assert fault["detail"]


@pytest.mark.parametrize("character", ["\\u0000", "\\u0007", "\\u001b", "\\u007f", "\\ud800", "\\udfff"])
@pytest.mark.parametrize("field", ["note", "unit", "method", "quantity"])
def test_control_characters_and_half_characters_are_refused(
    house: House, system: Any, character: str, field: str
) -> None:
    answer = put(house, reading(house, system, **{field: f'"a{character}b"'}))
    assert (answer.status, pointers(answer)) == (422, [f"/{field}"])


@pytest.mark.parametrize("name", ["\\u0000", "\\ud800", "x" * 100_000])
def test_a_field_name_may_be_anything_and_is_only_refused(house: House, system: Any, name: str) -> None:
    assert put(house, reading(house, system, **{name: "1"})).status == 422


def test_a_field_within_a_field_is_named(house: House, system: Any) -> None:
    volume = {"value": 900, "unit": "L", "x": 1}
    content = {"site_id": system["site_id"], "tag": "y", "name": "y", "water_volume": volume}
    assert house.call("POST", "/v1/systems", content, status=422)["errors"][0]["pointer"] == "/water_volume/x"


def test_a_tank_may_have_any_other_name(house: House, system: Any) -> None:
    for name in ("<svg onload=alert(1)>", "=HYPERLINK(1)", "Straße 珊瑚 🐠", "'; DROP TABLE tanks; --", "a\tb\nc"):
        tank = house.call("POST", "/v1/tanks", {"system_id": system["id"], "tag": f"t{uuid4().hex}", "name": name})
        assert house.call("GET", f"/v1/tanks/{tank['id']}")["name"] == name


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"nonsense", b"[]", b"null", b"7", b'"text"', b"\xff\xfe", b"\x00", b"{'a': 1}", b"[" * 200_000,
     b'{"a":' * 100_000, b"[" * 100_000 + b"]" * 100_000, b'{"value": ' + b"9" * 1_000_000 + b"}"],
    ids=lambda body: f"{body[:8]!r} of {len(body)}",
)  # fmt: skip
def test_a_body_that_is_no_object_is_refused(house: House, system: Any, body: bytes) -> None:
    for method, path in (("PUT", f"/v1/readings/{uuid4()}"), ("POST", "/v1/readings/batch"), ("POST", "/v1/sites")):
        answer = raw(house, method, path, body)
        assert answer.status in (400, 422), f"{method} {path}"
        assert answer.problem["status"] == answer.status


def test_deep_nesting_inside_a_field_is_refused(house: House, system: Any) -> None:
    deep = "[" * 900 + "]" * 900  # shallow enough for the parser, deeper than any field
    for fields in ({"note": deep}, {"conditions": f'{{"scale": {deep}}}'}, {"unknown": deep}):
        assert put(house, reading(house, system, **fields)).status == 422
    batch = raw(house, "POST", "/v1/readings/batch", f'{{"items": [{deep}, {{"id": {deep}}}]}}'.encode())
    assert batch.status == 200
    assert [result["status"] for result in orjson.loads(batch.body)["results"]] == [422, 422]


@pytest.mark.parametrize("content_type", ["text/plain", "application/xml", "", "application/json; charset=utf-16"])
def test_another_kind_of_body_is_refused(house: House, content_type: str) -> None:
    body = json.dumps(SITE).encode("utf-16" if "utf-16" in content_type else "utf-8")
    assert raw(house, "POST", "/v1/sites", body, content_type).status in (201, 400, 415, 422)


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("/v1/sites?limit=0", "query"),
        ("/v1/sites?limit=1001", "query"),
        ("/v1/sites?limit=" + "9" * 5000, "query"),
        ("/v1/sites?limit=1.5", "query"),
        ("/v1/readings?from=yesterday", "query"),
        ("/v1/readings?from=99999-01-01T00:00:00Z", "query"),
        ("/v1/readings?subject=" + "1" * 30, "query"),
        ("/v1/readings/1", "path"),
        ("/v1/readings/00000000000000000000000000000000", "path"),
        ("/v1/readings/%00", "path"),
    ],
)
def test_a_parameter_that_is_wrong_is_named(house: House, path: str, place: str) -> None:
    problem = house.call("GET", path, status=422)
    assert problem["errors"][0]["in"] == place
    assert problem["errors"][0]["pointer"]


@pytest.mark.parametrize("cursor", ["x", "%00", "WzFd", "bnVsbA", "W1td", "e30", "WyJhIiwiYiJd", "WzFlNDAwLCJhIl0"])
@pytest.mark.parametrize("path", ["sites", "readings", "tokens", "people"])
def test_a_cursor_of_ones_own_making_is_refused(house: House, path: str, cursor: str) -> None:
    problem = house.call("GET", f"/v1/{path}?cursor={cursor}", status=400)
    assert problem["errors"][0]["pointer"] == "cursor"


@pytest.mark.parametrize("tag", ["*", "1", '"x"', 'W/"1"', '"1", "2"', '"' + "9" * 400 + '"', '"-1"', ""])
def test_if_match_names_one_version(house: House, tag: str) -> None:
    site = house.a_site()
    answer = talk(
        house.app,
        "PATCH",
        f"/v1/sites/{site['id']}",
        json={"name": "Another"},
        headers={"If-Match": tag, "Authorization": f"Bearer {house.administrator}"},
    )
    assert answer.status_code in (400, 412, 428)
    assert house.call("GET", f"/v1/sites/{site['id']}")["version"] == 1


def test_every_refusal_is_a_problem_document(house: House, system: Any) -> None:
    """RFC 9457: media type, type, title, status, detail; and the type can be looked up."""
    refusals = [
        talk(house.app, "GET", "/v1/sites"),
        talk(house.app, "GET", "/nowhere"),
        house.send("GET", f"/v1/sites/{uuid4()}"),
        house.send("GET", "/v1/nowhere"),
        house.send("DELETE", "/v1/sites"),
        house.send("GET", "/v1/sites", token=house.token("reader", scopes=[])),
        house.send("POST", "/v1/sites", json={}),
        house.send("POST", "/v1/sites", json={**SITE, "tag": "x"})
        and house.send("POST", "/v1/sites", json={**SITE, "tag": "x"}),
        house.send("PATCH", f"/v1/systems/{system['id']}", json={"name": "x"}),
        house.send("PATCH", f"/v1/systems/{system['id']}", json={"name": "x"}, headers={"If-Match": '"7"'}),
        house.send("GET", "/v1/sites?cursor=x"),
        talk(house.app, "GET", "/problems/nothing"),
    ]
    assert [refusal.status_code for refusal in refusals] == [401, 404, 404, 404, 405, 403, 422, 409, 428, 412, 400, 404]
    for refusal in refusals:
        assert refusal.headers["content-type"] == "application/problem+json"
        problem = refusal.json()
        assert problem.keys() == {"type", "title", "status", "detail", "errors"}
        assert problem["status"] == refusal.status_code
        explained = talk(house.app, "GET", problem["type"])
        assert explained.json()["title"] == problem["title"]


def test_a_long_value_is_echoed_short(house: House, system: Any) -> None:
    answer = put(house, reading(house, system, purpose='"' + "x" * 100_000 + '"'))
    assert len(answer.body) < 2000


def head(house: House, system: Any) -> Any:
    """Where the chain of the system's site stands."""
    with house.database.read() as session:
        found = trail.head(session, UUID(system["site_id"]))
        return found and found.seq
