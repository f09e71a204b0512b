"""People: roles on sites, names that can be replaced for good, and nobody signed in by somebody who may do less."""

from __future__ import annotations

from typing import Any

import pytest
from access.conversation import OWN_PAGE, cookie_of
from sqlmodel import select
from support.house import House

from service.access.models import Grant
from service.resources.keeping.kept import KEPT
from service.storage import trail
from service.storage.trail import Event


def added(house: House, name: str, role: str, site: Any = None, **options: Any) -> Any:
    """A person with a first role."""
    content = {"name": name, "role": role, "site_id": site and site["id"]}
    return house.call("POST", "/v1/people", content, **options)


def changed(house: House, person: Any, patch: Any, **options: Any) -> Any:
    """The answer to a change of the version that was read."""
    headers = {"If-Match": f'"{person["version"]}"'}
    return house.call("PATCH", f"/v1/people/{person['id']}", patch, headers=headers, **options)


def signed_in(house: House, person: Any) -> dict[str, str]:
    """The header of a browser on which this person signed in."""
    link = house.call("POST", f"/v1/people/{person['id']}/sign-in-links")
    name, value, _ = cookie_of(house.send("POST", link["path"], token=None, headers=OWN_PAGE))
    return {"Cookie": f"{name}={value}"}


def test_a_person_holds_a_role_a_site(house: House) -> None:
    north, south = house.a_site(), house.a_site()
    person = added(house, "Ida", "keeper", north)
    both = changed(house, person, {"roles": [{"site_id": south["id"], "role": "reader"}]})
    assert [role["role"] for role in both["roles"]] == ["keeper", "reader"]
    cookie = signed_in(house, person)
    seen = house.call("GET", "/v1/sites", token=None, headers=cookie)
    assert [site["id"] for site in seen] == [north["id"], south["id"]]
    me = house.call("GET", "/v1/sessions/current", token=None, headers=cookie)
    assert [(access["role"], access["rights"]) for access in me["access"]] == [
        ("keeper", ["correct", "read", "record"]),
        ("reader", ["read"]),
    ]


def test_a_role_taken_away_is_gone_from_open_sessions(house: House) -> None:
    site = house.a_site()
    person = added(house, "Ida", "keeper", site)
    cookie = signed_in(house, person)
    house.call("GET", "/v1/sites", token=None, headers=cookie)
    changed(house, person, {"roles": [{"site_id": site["id"], "role": None}]})
    house.call("GET", "/v1/sites", token=None, headers=cookie, status=403)
    assert house.call("GET", f"/v1/people/{person['id']}")["roles"] == []


def test_of_two_roles_the_higher_one_counts(house: House) -> None:
    site = house.a_site()
    person = added(house, "Ida", "supervisor")
    changed(house, person, {"roles": [{"site_id": site["id"], "role": "reader"}]})
    me = house.call("GET", "/v1/sessions/current", token=None, headers=signed_in(house, person))
    assert {access["role"] for access in me["access"]} == {"supervisor"}


def test_an_administrator_of_a_site_sees_its_people_and_their_roles_there_alone(house: House) -> None:
    home, elsewhere = house.a_site(), house.a_site()
    local = house.token("administrator", site=home["id"])
    ours = added(house, "Ida", "keeper", home)
    theirs = added(house, "Jo", "keeper", elsewhere)
    changed(house, ours, {"roles": [{"site_id": elsewhere["id"], "role": "reader"}]})
    listed = house.call("GET", "/v1/people", token=local)
    assert [(person["name"], [role["site_id"] for role in person["roles"]]) for person in listed] == [
        ("Ida", [home["id"]])
    ]
    house.call("GET", f"/v1/people/{theirs['id']}", token=local, status=404)
    added(house, "Jo", "reader", home, token=local)  # no refusal may tell that a Jo works elsewhere
    added(house, "Ida", "reader", home, token=local, status=409)


def test_nobody_is_signed_in_by_somebody_who_may_do_less(house: House) -> None:
    home = house.a_site()
    local = house.token("administrator", site=home["id"])
    chief = added(house, "Chief", "keeper", home)
    house.call("POST", f"/v1/people/{chief['id']}/sign-in-links", token=local, status=201)
    chief = changed(house, chief, {"roles": [{"role": "administrator"}]})  # now also of the whole installation
    for path in ("sign-in-links", "sign-out"):
        house.call("POST", f"/v1/people/{chief['id']}/{path}", token=local, status=403)
    assert changed(house, chief, {"name": "Nobody"}, token=local, status=403)["type"] == "/problems/not-allowed"


def test_nobody_gives_a_role_they_could_not_hold(house: House) -> None:
    home = house.a_site()
    local = house.token("administrator", site=home["id"])
    person = added(house, "Ida", "keeper", home, token=local)
    changed(house, person, {"roles": [{"role": "reader"}]}, token=local, status=403)
    unknown = {"roles": [{"site_id": "00000000-0000-4000-8000-000000000000", "role": "reader"}]}
    assert changed(house, person, unknown, token=local, status=404)["errors"][0]["pointer"] == "/roles/0/site_id"
    assert changed(house, person, {"roles": []}, status=422)["errors"][0]["pointer"] == "/roles"
    twice = {"roles": [{"role": "reader"}, {"role": "keeper"}]}
    assert changed(house, person, twice, status=422)["errors"][0]["pointer"] == "/roles"


def test_a_pseudonym_replaces_a_name_for_good(house: House) -> None:
    person = added(house, "Ida Quill", "keeper", house.a_site())
    signed_in(house, person)
    assert changed(house, person, {"name": "keeper 7"})["name"] == "keeper 7"
    dump = house.everything_stored()
    assert "Quill" not in dump
    assert "keeper 7" in dump


def test_every_change_of_access_stands_in_the_trail(house: House) -> None:
    site = house.a_site()
    person = added(house, "Ida", "keeper", site)
    changed(house, person, {"roles": [{"site_id": site["id"], "role": None}]})
    with house.database.read() as session:
        events = session.exec(select(Event)).all()
        said = [(event.kind, event.action) for event in events if event.kind in {"person", "grant"}]
        assert sorted(said) == [("grant", "given"), ("grant", "taken_away"), ("person", "added"), ("person", "changed")]
        for chain in {event.chain_id for event in events}:
            assert list(trail.faults(session, chain)) == []
        grant = session.exec(select(Grant)).one()
        last = max((event for event in events if event.thing_id == grant.id), key=lambda event: event.version)
        assert (last.version, last.digest) == (grant.version, KEPT["grant"].change(grant, "any").digest)


def test_signing_out_everywhere_ends_sessions_and_open_links(house: House) -> None:
    person = added(house, "Ida", "keeper", house.a_site())
    cookies = [signed_in(house, person), signed_in(house, person)]
    link = house.call("POST", f"/v1/people/{person['id']}/sign-in-links")
    house.call("POST", f"/v1/people/{person['id']}/sign-out", status=204)
    for cookie in cookies:
        house.call("GET", "/v1/sessions/current", token=None, headers=cookie, status=401)
    house.call("POST", link["path"], token=None, headers=OWN_PAGE, status=401)


@pytest.mark.parametrize("field", ["id", "version", "created_at", "is_admin"])
def test_what_the_service_decides_cannot_be_sent(house: House, field: str) -> None:
    content = {"name": "Ida", "role": "reader", field: "x"}
    assert house.call("POST", "/v1/people", content, status=422)["errors"][0]["pointer"] == f"/{field}"
