"""Tokens: hashed at rest, cut by scopes, ended by time and by revocation, and never more than their maker."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlmodel import select
from support.house import House

from service.access.models import Token
from service.storage import trail


def made(house: House, /, *, token: str | None = "", status: int = 201, **fields: Any) -> Any:
    """The answer to making a token."""
    return house.call("POST", "/v1/tokens", {"name": "pull", "role": "reader", **fields}, token=token, status=status)


def opens(house: House, secret: str) -> bool:
    """Whether a token opens anything."""
    return house.send("GET", "/v1/sessions/current", token=secret).status_code == 200


def test_only_the_hash_is_stored(house: House) -> None:
    secret = made(house)["secret"]
    with house.database.read() as session:
        stored = [token.secret_hash for token in session.exec(select(Token))]
    assert hashlib.sha256(secret.encode()).digest() in stored
    dump = house.everything_stored()
    assert secret not in dump
    assert secret.removeprefix("ooid_") not in dump


def test_a_secret_is_shown_once(house: House) -> None:
    token = made(house)
    assert token["secret"].startswith("ooid_")
    assert len(token["secret"]) == 48  # 256 bits in base64url, after the prefix
    for answer in (house.call("GET", f"/v1/tokens/{token['id']}"), *house.call("GET", "/v1/tokens")):
        assert "secret" not in answer


def test_scopes_cut_the_rights_of_a_role(house: House) -> None:
    system = house.a_system()
    content = {"subject_id": system["id"], "quantity": "alkalinity", "value": 8, "unit": "dKH"}
    content["taken_at"] = house.now.isoformat()
    reads = made(house, role="supervisor", scopes=["read"])["secret"]
    records = made(house, role="supervisor", scopes=["record"])["secret"]
    house.call("GET", "/v1/systems", token=reads)
    house.call("PUT", f"/v1/readings/{uuid4()}", content, token=reads, status=403)
    house.call("PUT", f"/v1/readings/{uuid4()}", content, token=records, status=201)
    house.call("GET", "/v1/systems", token=records, status=403)


def test_a_scope_beyond_the_role_is_refused_by_name(house: House) -> None:
    refused = made(house, scopes=["read", "record"], status=422)
    assert refused["errors"][0]["pointer"] == "/scopes/1"
    assert made(house, scopes=["read", "read"], status=422)["errors"][0]["pointer"] == "/scopes"


def test_a_token_ends_at_its_time_to_the_microsecond(house: House) -> None:
    ends = house.now + timedelta(hours=1)
    secret = made(house, expires_at=ends.isoformat())["secret"]
    house.now = ends - timedelta(microseconds=1)
    assert opens(house, secret)
    house.now = ends
    assert not opens(house, secret)


def test_a_token_without_a_stated_end_lasts_a_year(house: House) -> None:
    ends = made(house)["expires_at"]
    assert ends == (house.now + timedelta(days=365)).isoformat().replace("+00:00", "Z")


@pytest.mark.parametrize("days", [-1, 0, 4000])
def test_an_end_in_the_past_or_out_of_sight_is_refused(house: House, days: int) -> None:
    refused = made(house, expires_at=(house.now + timedelta(days=days)).isoformat(), status=422)
    assert refused["errors"][0]["pointer"] == "/expires_at"


def test_revocation_holds_from_the_next_request(house: House) -> None:
    token = made(house)
    assert opens(house, token["secret"])
    revoked = house.call("POST", f"/v1/tokens/{token['id']}/revocation")
    assert revoked["revoked_at"] is not None
    assert not opens(house, token["secret"])
    assert house.call("POST", f"/v1/tokens/{token['id']}/revocation") == revoked  # again: nothing more to do


def test_nobody_makes_more_than_they_hold(house: House) -> None:
    home, elsewhere = house.a_site(), house.a_site()
    local = house.token("administrator", site=home["id"])
    made(house, token=local, site_id=home["id"], role="administrator")
    made(house, token=local, status=403)  # for the whole installation
    assert made(house, token=local, site_id=elsewhere["id"], status=404)["errors"][0]["pointer"] == "/site_id"
    made(house, token=house.token("supervisor"), status=403)


def test_a_cut_token_makes_no_wider_one(house: House) -> None:
    narrow = house.token("administrator", scopes=["administer", "read"])
    made(house, token=narrow, role="administrator", status=403)
    made(house, token=narrow, role="keeper", scopes=["read", "record"], status=403)
    made(house, token=narrow, role="keeper", scopes=["read"])
    # nor a person, or a link for one, who could do what the token was denied
    house.call("POST", "/v1/people", {"name": "Keeper", "role": "keeper"}, token=narrow, status=403)
    wide = house.call("POST", "/v1/people", {"name": "Wide", "role": "administrator"})
    house.call("POST", f"/v1/people/{wide['id']}/sign-in-links", token=narrow, status=403)


def test_a_token_made_by_a_token_does_not_outlive_it(house: House) -> None:
    ends = house.now + timedelta(days=3)
    maker = house.token("administrator", expires=ends)
    assert made(house, token=maker)["expires_at"] == ends.isoformat().replace("+00:00", "Z")


def test_tokens_of_other_sites_are_not_seen(house: House) -> None:
    home, elsewhere = house.a_site(), house.a_site()
    theirs = made(house, site_id=elsewhere["id"])
    local = house.token("administrator", site=home["id"])
    listed = house.call("GET", "/v1/tokens", token=local)
    assert {token["site_id"] for token in listed} == {home["id"]}
    house.call("POST", f"/v1/tokens/{theirs['id']}/revocation", token=local, status=404)
    assert opens(house, theirs["secret"])


def test_making_and_revoking_stand_in_the_chain_of_the_site(house: House) -> None:
    site = house.a_site()
    token = made(house, site_id=site["id"])
    house.call("POST", f"/v1/tokens/{token['id']}/revocation")
    with house.database.read() as session:
        entries = session.exec(select(trail.AuditEntry).where(trail.AuditEntry.chain_id == UUID(site["id"]))).all()
        assert list(trail.faults(session, UUID(site["id"]))) == []
    assert [entry.after["id"] for entry in entries] == [token["id"]] * 2
    assert entries[1].before["revoked_at"] is None
    assert token["secret"] not in str([entry.after for entry in entries])


@pytest.mark.parametrize("credential", ["", "ooid_" + "A" * 43, "Ω", "' OR 1=1 --"])
def test_an_unknown_token_opens_nothing(house: House, credential: str) -> None:
    headers = {"Authorization": f"Bearer {credential}".encode("latin-1", "replace").decode("latin-1")}
    refused = house.send("GET", "/v1/sites", token=None, headers=headers)
    assert refused.status_code == 401
    assert refused.headers["www-authenticate"] == 'Bearer realm="ooid"'  # RFC 9110 11.6.1: a 401 says how to sign in
