"""Signing in by a one-time link, the cookie of a session, and what other sites' pages cannot do with it."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from access.conversation import OWN_PAGE, cookie_of
from support.house import House

from service.access.signing_in import LINK_LASTS, SESSION_LASTS

TLS = "https://ooid.test"


@pytest.fixture
def link(house: House) -> str:
    """The path of a fresh sign-in link of an administrator."""
    person = house.call("POST", "/v1/people", {"name": "Ida", "role": "administrator"})
    path: str = house.call("POST", f"/v1/people/{person['id']}/sign-in-links")["path"]
    return path


def used(house: House, path: str, **options: Any) -> Any:
    """The response to pressing the button of a sign-in page."""
    return house.send("POST", path, token=None, headers={**OWN_PAGE, **options.pop("headers", {})}, **options)


def cookie(house: House, path: str) -> dict[str, str]:
    """The header of a browser that used a link."""
    name, value, _ = cookie_of(used(house, path))
    return {"Cookie": f"{name}={value}"}


def test_looking_at_a_link_does_not_use_it(house: House, link: str) -> None:
    for _ in range(3):  # a mail program, a messenger and a person look
        page = house.send("GET", link, token=None)
        assert page.status_code == 200
        assert "set-cookie" not in page.headers
        assert f'<form method="post" action="{link}">' in page.text
    assert used(house, link).status_code == 303


def test_a_link_signs_in_once(house: House, link: str) -> None:
    response = used(house, link)
    assert (response.status_code, response.headers["location"]) == (303, "/")
    again = used(house, link)
    assert (again.status_code, again.json()["type"]) == (401, "/problems/not-signed-in")
    page = house.send("GET", link, token=None, headers={"Accept": "text/html"})
    assert (page.status_code, "used already" in page.text, "<form" in page.text) == (401, True, False)


def test_of_twenty_who_use_a_link_at_once_one_is_signed_in(house: House, link: str) -> None:
    with ThreadPoolExecutor(20) as crowd:
        statuses = sorted(response.status_code for response in crowd.map(lambda _: used(house, link), range(20)))
    assert statuses == [303] + [401] * 19


def test_a_link_ends_within_the_hour(house: House, link: str) -> None:
    house.now += LINK_LASTS
    assert used(house, link).status_code == 401


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(house: House, link: str) -> None:
    name, value, attributes = cookie_of(used(house, link))
    assert (name, len(value)) == ("ooid_session", 43)
    assert attributes == {"HttpOnly", "Max-Age", "Path=/", "SameSite=lax"}


def test_over_tls_the_cookie_is_bound_to_the_host(house: House, link: str) -> None:
    # RFC 6265bis 4.1.3.2: a __Host- cookie has Secure, Path=/ and no Domain
    name, value, attributes = cookie_of(used(house, TLS + link, headers={"Origin": TLS}))
    assert name == "__Host-ooid_session"
    assert attributes == {"HttpOnly", "Max-Age", "Path=/", "SameSite=lax", "Secure"}
    me = f"{TLS}/v1/sessions/current"
    assert house.send("GET", me, token=None, headers={"Cookie": f"{name}={value}"}).status_code == 200
    unbound = {"Cookie": f"ooid_session={value}"}  # one that a neighbouring host or plain HTTP could have planted
    assert house.send("GET", me, token=None, headers=unbound).status_code == 401


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 403),
        ({"Origin": "http://evil.test"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://["}, 403),
        ({"Origin": "http://ooid.test.evil.test"}, 403),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Origin": "http://ooid.test"}, 201),
        ({"Sec-Fetch-Site": "same-origin"}, 201),
    ],
)
def test_a_change_with_a_cookie_comes_from_our_own_page(
    house: House, link: str, headers: dict[str, str], status: int
) -> None:
    content = {"name": "The Reefhouse", "time_zone": "Europe/Oslo"}
    held = cookie(house, link)
    house.call("POST", "/v1/sites", content, token=None, headers={**held, **headers}, status=status)
    assert house.send("GET", "/v1/sites", token=None, headers=held).status_code == 200


def test_nobody_can_be_signed_in_by_another_sites_form(house: House, link: str) -> None:
    forged = house.send("POST", link, token=None, headers={"Origin": "http://evil.test"})
    assert (forged.status_code, "set-cookie" in forged.headers) == (403, False)
    assert used(house, link).status_code == 303  # and the link was not used up


def test_every_sign_in_gives_another_secret(house: House, link: str) -> None:
    held = cookie(house, link)
    me = house.call("GET", "/v1/sessions/current", token=None, headers=held)
    second = house.call("POST", f"/v1/people/{me['id']}/sign-in-links")["path"]
    assert cookie_of(used(house, second, headers=held))[1] not in held["Cookie"]


def test_signing_out_ends_this_session_alone(house: House, link: str) -> None:
    first = cookie(house, link)
    me = house.call("GET", "/v1/sessions/current", token=None, headers=first)
    second = cookie(house, house.call("POST", f"/v1/people/{me['id']}/sign-in-links")["path"])
    gone = house.send("DELETE", "/v1/sessions/current", token=None, headers={**first, **OWN_PAGE})
    assert gone.status_code == 204
    assert cookie_of(gone)[1] == '""'
    house.call("GET", "/v1/sessions/current", token=None, headers=first, status=401)
    house.call("GET", "/v1/sessions/current", token=None, headers=second)


def test_a_page_that_sends_in_another_persons_name_is_refused(house: House, link: str) -> None:
    held = {**cookie(house, link), **OWN_PAGE}
    me = house.call("GET", "/v1/sessions/current", token=None, headers=held)
    content = {"name": "The Reefhouse", "time_zone": "Europe/Oslo"}
    as_another = {**held, "Ooid-Person": "01a2226c-a207-7979-a7f1-ba814a277565"}
    refused = house.call("POST", "/v1/sites", content, token=None, headers=as_another, status=401)
    assert "Ooid-Person" in refused["detail"]
    assert house.call("GET", "/v1/sites", token=None, headers=held) == []
    house.call("POST", "/v1/sites", content, token=None, headers={**held, "Ooid-Person": me["id"]}, status=201)


def test_a_session_ends_after_its_time(house: House, link: str) -> None:
    held = cookie(house, link)
    house.now += SESSION_LASTS
    house.call("GET", "/v1/sessions/current", token=None, headers=held, status=401)


def test_a_token_goes_before_a_cookie(house: House, link: str) -> None:
    held = cookie(house, link)
    me = house.call("GET", "/v1/sessions/current", headers=held)
    assert me["kind"] == "token"
    house.call("GET", "/v1/sessions/current", token="ooid_unknown", headers=held, status=401)
