"""The gate: nobody unknown is listened to, nothing too large is read, and every answer carries its headers."""

from __future__ import annotations

from typing import Any

import pytest
from access.conversation import asgi, talk
from support.house import House

from service.resources.places.sites import actions

LIMIT = 8 * 1024 * 1024
JSON = {"Content-Type": "application/json"}


def bearing(token: str) -> dict[str, str]:
    """The headers of a JSON request with a token."""
    return {**JSON, "Authorization": f"Bearer {token}"}


def test_an_unknown_caller_is_refused_before_the_body_is_read(house: House) -> None:
    answer = asgi(house.app, "POST", "/v1/sites", headers=JSON, chunks=[b"{" * 1000] * 10)
    assert (answer.status, answer.bytes_read) == (401, 0)
    assert answer.problem["type"] == "/problems/not-signed-in"


def test_an_unknown_caller_learns_of_no_path(house: House) -> None:
    # the same answer for paths that exist and paths that do not
    answers = [asgi(house.app, "GET", path).problem for path in ("/v1/sites", "/v1/nowhere", "/v1/sites/x")]
    assert answers[0] == answers[1] == answers[2]


def test_an_announced_body_beyond_the_limit_is_refused_unread(house: House) -> None:
    headers = {**bearing(house.administrator), "Content-Length": str(LIMIT + 1)}
    answer = asgi(house.app, "POST", "/v1/sites", headers=headers, chunks=[b"x"])
    assert (answer.status, answer.bytes_read) == (413, 0)
    assert answer.problem["type"] == "/problems/too-large"


@pytest.mark.parametrize("length", ["-1", "1e3", "9" * 5000, "²", "0x10", "1, 1"])
def test_a_length_that_is_no_number_is_refused(house: House, length: str) -> None:
    headers = {**bearing(house.administrator), "Content-Length": length}
    assert asgi(house.app, "POST", "/v1/sites", headers=headers, chunks=[b"{}"]).status == 413


def test_a_body_in_chunks_is_counted(house: House) -> None:
    chunks = [b" " * (1 << 20)] * 12
    answer = asgi(house.app, "POST", "/v1/sites", headers=bearing(house.administrator), chunks=chunks)
    assert answer.status == 413
    assert answer.problem["type"] == "/problems/too-large"
    assert answer.bytes_read <= LIMIT + (1 << 20)  # reading stopped at the limit


def test_a_body_that_says_less_than_it_sends_is_counted_too(house: House) -> None:
    headers = {**bearing(house.administrator), "Content-Length": "2"}
    answer = asgi(house.app, "POST", "/v1/sites", headers=headers, chunks=[b" " * (1 << 20)] * 12)
    assert answer.status == 413


@pytest.mark.parametrize("path", ["/v1/sites", "/v1/nowhere", "/healthz", "/problems/stale", "/nowhere"])
def test_every_answer_carries_the_headers_that_protect_a_browser(house: House, path: str) -> None:
    for options in ({}, {"headers": bearing(house.administrator)}):
        headers = talk(house.app, "GET", path, **options).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["cross-origin-opener-policy"] == "same-origin"
        assert "access-control-allow-origin" not in headers  # no other origin is let in
        assert "server" not in headers
        assert (headers.get("cache-control") == "no-store") is path.startswith("/v1/")


def test_browsers_that_came_over_tls_are_held_to_it(house: House) -> None:
    assert "strict-transport-security" not in talk(house.app, "GET", "/healthz").headers
    assert "strict-transport-security" in talk(house.app, "GET", "https://ooid.test/healthz").headers


def test_a_failure_tells_nothing_of_the_inside(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_arguments: Any) -> None:
        raise RuntimeError("/srv/secret/path is broken")

    before = house.call("GET", "/v1/sites")
    monkeypatch.setattr(actions, "refuse_taken", fail)
    content = {"name": "The Reefhouse", "time_zone": "Europe/Oslo"}
    answer = talk(house.app, "POST", "/v1/sites", json=content, headers=bearing(house.administrator))
    assert (answer.status_code, answer.json()["type"]) == (500, "/problems/unexpected")
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["x-content-type-options"] == "nosniff"
    for word in ("secret", "RuntimeError", "Traceback", ".py", "/srv", "site-packages"):
        assert word not in answer.text
    monkeypatch.undo()
    assert house.call("GET", "/v1/sites") == before


@pytest.mark.parametrize(
    ("method", "path", "allowed"),
    [
        ("DELETE", "/v1/sites", "GET, POST"),
        ("PUT", "/v1/sites/0190f3c2-7a51-7c10-8a3e-5f0d6c1b2a33", "GET, PATCH"),
        ("DELETE", "/v1/readings/0190f3c2-7a51-7c10-8a3e-5f0d6c1b2a33", "GET, PUT"),
        ("PATCH", "/v1/sessions/current", "DELETE, GET"),
        ("POST", "/healthz", "GET"),
        ("PUT", "/sign-in/x", "GET, POST"),
    ],
)
def test_a_method_that_is_not_taken_is_answered_with_all_that_are(
    house: House, method: str, path: str, allowed: str
) -> None:
    # RFC 9110 15.5.6: the Allow field lists the target's currently supported methods
    answer = house.send(method, path)
    assert (answer.status_code, answer.headers["allow"]) == (405, allowed)
    assert answer.json()["type"] == "/problems/method-not-allowed"


def test_a_caller_without_any_role_can_sign_out_and_nothing_else(house: House) -> None:
    scopeless = house.token("reader", scopes=[])
    assert house.send("GET", "/v1/sessions/current", token=scopeless).status_code == 200
    assert house.send("GET", "/v1/sites", token=scopeless).status_code == 403
