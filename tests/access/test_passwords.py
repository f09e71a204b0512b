"""Passwords: argon2id, few rules, the same way for known and unknown names, and waits that a restart does not end.

Sources beside the checks: RFC 9106, NIST SP 800-63B-4 (3.1.1, 3.2.2), OWASP ASVS 5.0 V6 and V7, item names from memory.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from access.conversation import OWN_PAGE, cookie_of
from sqlmodel import select
from support.house import House

from service.access.models import Attempts, Password, Person
from service.access.passwords import Hasher, require_good_password, require_good_pin
from service.access.throttle import wait_after
from service.errors import Unacceptable
from service.settings import Settings
from service.storage import trail
from service.storage.database import Database
from service.storage.trail import AuditEntry, Event

GOOD = "three corals and a pump"
OTHER = "another seven words at sea"


def linked(house: House, name: str = "Ida", role: str = "keeper", site: str | None = None) -> dict[str, str]:
    """The cookie of a new person who came by a one-time link."""
    person = house.call("POST", "/v1/people", {"name": name, "role": role, "site_id": site})
    return by_link(house, person["id"])


def by_link(house: House, person_id: str) -> dict[str, str]:
    """The cookie of a person who came by a fresh one-time link."""
    link = house.call("POST", f"/v1/people/{person_id}/sign-in-links")
    return browser(house.send("POST", link["path"], token=None, headers=OWN_PAGE))


def browser(response: Any) -> dict[str, str]:
    """The headers of a browser that keeps the cookie of a response."""
    name, value, _ = cookie_of(response)
    return {"Cookie": f"{name}={value}", **OWN_PAGE}


def set_password(house: House, held: dict[str, str], new: str, present: str | None = None, **options: Any) -> Any:
    """The response to setting a password."""
    return house.send(
        "PUT", "/v1/sessions/current/password", token=None, headers=held, json={"present": present, "new": new}
    )


def sign_in(house: House, password: str, name: str = "Ida", **headers: str) -> Any:
    """The response to the form of the sign-in page."""
    return house.send(
        "POST", "/sign-in", token=None, headers={**OWN_PAGE, **headers}, data={"name": name, "password": password}
    )


def me(house: House, held: dict[str, str]) -> int:
    """The status under which a browser is known."""
    return house.send("GET", "/v1/sessions/current", token=None, headers=held).status_code


@pytest.fixture
def ida(house: House) -> dict[str, str]:
    """The cookie of Ida, who has a password."""
    return browser(set_password(house, linked(house), GOOD))


@pytest.fixture
def verified(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str | None]]:
    """The hash of every verification, as it is made."""
    import argon2

    made: list[str | None] = []
    verify = argon2.PasswordHasher.verify

    def counted(self: Any, stored: Any, secret: Any) -> Any:
        made.append(stored)
        return verify(self, stored, secret)

    monkeypatch.setattr(argon2.PasswordHasher, "verify", counted)
    return made


@pytest.mark.parametrize("password", ["eleven char", "", "x" * 257, "password1234", "PASSWORD!!2024", "123456789012"])
def test_a_password_too_short_or_among_the_commonest_is_refused(password: str) -> None:
    with pytest.raises(Unacceptable):
        require_good_password(password, name="Ida", pointer="/new")


@pytest.mark.parametrize("password", ["abababababab", "qwertyuiopas", "The Keeper 7", "September 2026!"])
def test_a_password_anybody_would_try_is_refused(password: str) -> None:
    with pytest.raises(Unacceptable):
        require_good_password(password, name="the keeper 7", pointer="/new")


@pytest.mark.parametrize("password", ["all small letters", "ÆØÅ æøå ñ 日本語 xy", "    twelve    ", "x" * 40 + "yz"])
def test_nothing_is_asked_of_a_password_but_length(password: str) -> None:
    require_good_password(password, name="Ida", pointer="/new")  # NIST SP 800-63B-4 3.1.1.2: no composition rules


@pytest.mark.parametrize(("pin", "good"), [("2904", True), ("83920174", True), ("123", False), ("1111", False),
                                           ("1234", False), ("9876", False), ("123456789", False), ("12a4", False),
                                           ("٢٩٠٤", False)])  # fmt: skip
def test_a_pin_is_four_to_eight_digits_that_neither_repeat_nor_count(pin: str, good: bool) -> None:
    if good:
        require_good_pin(pin, pointer="/pin")
        return
    with pytest.raises(Unacceptable):
        require_good_pin(pin, pointer="/pin")


def test_the_hash_is_argon2id_with_the_parameters_of_the_settings() -> None:
    hasher = Hasher(Settings())
    stored = hasher.hash(GOOD)
    assert stored.startswith("$argon2id$v=19$m=65536,t=3,p=4$")  # RFC 9106 section 4, second recommended option
    assert hasher.matches(stored, GOOD)
    assert not hasher.matches(stored, GOOD + " ")
    assert not hasher.matches(None, GOOD)


def test_alike_letters_of_different_keyboards_are_the_same() -> None:
    hasher = Hasher(Settings(password_memory_kib=8, password_passes=1, password_lanes=1))
    assert hasher.matches(hasher.hash("Å" * 12), "A\u030a" * 12)  # composed and not: NFKC


def test_a_name_and_its_password_sign_in(house: House, ida: dict[str, str]) -> None:
    response = sign_in(house, GOOD)
    assert (response.status_code, response.headers["location"]) == (303, "/")
    assert house.call("GET", "/v1/sessions/current", token=None, headers=browser(response))["name"] == "Ida"
    assert me(house, ida) == 200  # another browser stays


def test_signing_in_anew_ends_the_session_the_browser_had(house: House, ida: dict[str, str]) -> None:
    fresh = browser(sign_in(house, GOOD, **ida))
    assert fresh != ida
    assert (me(house, ida), me(house, fresh)) == (401, 200)
    again = browser(
        house.send("POST", _link_of(house, "Ida"), token=None, headers={**fresh})
    )  # by a link it is the same
    assert (me(house, fresh), me(house, again)) == (401, 200)


def _link_of(house: House, name: str) -> str:
    (person,) = [each for each in house.call("GET", "/v1/people") if each["name"] == name]
    path: str = house.call("POST", f"/v1/people/{person['id']}/sign-in-links")["path"]
    return path


def test_an_unknown_name_takes_the_same_way_and_the_same_words(
    house: House, ida: dict[str, str], verified: list[str | None]
) -> None:
    linked(house, "Jo")  # known, without a password
    answers, counts = [], []
    for name in ("Ida", "Jo", "Nobody"):
        verified.clear()
        response = sign_in(house, OTHER, name=name, Accept="text/html")
        answers.append((response.status_code, response.text, sorted(response.headers)))
        counts.append([stored.split("$")[1:4] for stored in verified if stored])
    assert answers[0] == answers[1] == answers[2]
    assert answers[0][0] == 401
    assert counts[0] == counts[1] == counts[2]
    assert len(counts[0]) == 1


def test_namesakes_sign_in_each_by_their_own_password(house: House, ida: dict[str, str]) -> None:
    local = house.token("administrator", site=house.a_site()["id"])
    site = house.call("GET", "/v1/sites", token=local)[0]["id"]
    person = house.call("POST", "/v1/people", {"name": "Ida", "role": "reader", "site_id": site}, token=local)
    set_password(house, by_link(house, person["id"]), OTHER)
    one, two = (
        house.call("GET", "/v1/sessions/current", token=None, headers=browser(sign_in(house, password)))["id"]
        for password in (GOOD, OTHER)
    )
    assert (one != person["id"], two) == (True, person["id"])


def test_waits_grow_to_a_quarter_of_an_hour_and_no_further() -> None:
    seconds = [wait_after(failures, 5).total_seconds() for failures in (0, 4, 5, 6, 7, 13, 14, 1000)]
    assert seconds == [0, 0, 2, 4, 8, 512, 900, 900]


def test_a_name_tried_too_often_waits_right_password_or_not(house: House, ida: dict[str, str]) -> None:
    for _ in range(5):
        assert sign_in(house, OTHER).status_code == 401
    refused = sign_in(house, GOOD)
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "2")
    assert refused.json()["type"] == "/problems/too-many"
    assert sign_in(house, GOOD, name="ida ").status_code == 429  # written otherwise it is the same name
    house.pass_time(seconds=2)
    assert sign_in(house, GOOD).status_code == 303
    assert sign_in(house, OTHER).status_code == 401  # and the count begins anew


def test_an_unknown_name_waits_as_a_known_one_does(house: House) -> None:
    statuses = [sign_in(house, OTHER, name="Nobody").status_code for _ in range(6)]
    assert statuses == [401] * 5 + [429]


def test_an_address_that_tries_many_names_waits(house: House, ida: dict[str, str]) -> None:
    statuses = [sign_in(house, OTHER, name=f"N{number}").status_code for number in range(21)]
    assert statuses == [401] * 20 + [429]
    assert sign_in(house, GOOD).status_code == 429
    house.pass_time(minutes=15)  # never longer
    assert sign_in(house, GOOD).status_code == 303
    assert sign_in(house, OTHER, name="N99").status_code in (401, 429)  # one's own success clears no address


def test_a_restart_forgives_nothing(house: House, database: Database, ida: dict[str, str]) -> None:
    for _ in range(5):
        sign_in(house, OTHER)
    assert sign_in(House(database), GOOD).status_code == 429


def test_a_crowd_at_once_is_counted_one_by_one(house: House, ida: dict[str, str]) -> None:
    with ThreadPoolExecutor(12) as crowd:
        statuses = sorted(response.status_code for response in crowd.map(lambda _: sign_in(house, OTHER), range(12)))
    served = [status for status in statuses if status != 503]  # on PostgreSQL a writer may be told to try again
    assert set(served) <= {401, 429}
    assert served.count(401) <= 5 < len(served)
    assert sign_in(house, GOOD).status_code == 429


def test_a_link_signs_in_whoever_has_to_wait(house: House, ida: dict[str, str]) -> None:
    for _ in range(6):
        sign_in(house, OTHER)
    assert house.send("POST", _link_of(house, "Ida"), token=None, headers=OWN_PAGE).status_code == 303


def test_attempts_are_forgotten_after_a_day(house: House) -> None:
    sign_in(house, OTHER)
    house.pass_time(hours=24)
    sign_in(house, OTHER, name="Somebody")
    with house.database.read() as session:
        assert {row.failures for row in session.exec(select(Attempts)).all()} == {1}


def test_a_hash_of_other_parameters_is_made_anew(house: House, database: Database, ida: dict[str, str]) -> None:
    stronger = House(database, password_passes=2)
    for _ in range(2):
        assert sign_in(stronger, GOOD).status_code == 303
    with database.read() as session:
        assert "t=2" in session.exec(select(Password)).one().hash
    assert sign_in(house, GOOD).status_code == 303


def test_a_changed_password_needs_the_present_one_and_ends_all_other_sessions(
    house: House, ida: dict[str, str]
) -> None:
    first, second = browser(sign_in(house, GOOD)), browser(sign_in(house, GOOD))
    refused = set_password(house, first, OTHER, present=OTHER)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (422, "/present")
    assert set_password(house, first, OTHER).status_code == 422
    done = set_password(house, first, OTHER, present=GOOD)
    assert done.status_code == 204
    assert [me(house, each) for each in (ida, first, second, browser(done))] == [401, 401, 401, 200]
    assert [sign_in(house, each).status_code for each in (GOOD, OTHER)] == [401, 303]


def test_the_present_password_cannot_be_guessed_from_a_session(house: House, ida: dict[str, str]) -> None:
    held = browser(sign_in(house, GOOD))
    statuses = [set_password(house, held, OTHER, present=f"guess {number}").status_code for number in range(6)]
    assert statuses == [422] * 5 + [429]


def test_a_forgotten_password_is_set_anew_within_the_hour_of_a_link(house: House, ida: dict[str, str]) -> None:
    (person,) = house.call("GET", "/v1/people")
    late, held = by_link(house, person["id"]), None
    house.pass_time(hours=1)
    assert set_password(house, late, OTHER).status_code == 422
    held = by_link(house, person["id"])
    assert set_password(house, held, OTHER).status_code == 204
    assert sign_in(house, OTHER).status_code == 303


def test_own_sessions_are_listed_and_ended_and_nobody_elses(house: House, ida: dict[str, str]) -> None:
    other, stranger = browser(sign_in(house, GOOD)), linked(house, "Jo")
    own = house.call("GET", "/v1/sessions", token=None, headers=ida)
    assert [each["is_current"] for each in own] == [False, True]
    path = f"/v1/sessions/{own[0]['id']}"
    house.call("DELETE", path, token=None, headers=stranger, status=404)
    assert me(house, other) == 200
    house.call("DELETE", path, token=None, headers=ida, status=204)
    assert (me(house, other), me(house, ida)) == (401, 200)


def test_an_idle_session_ends_and_a_used_one_goes_on_to_its_time(house: House, ida: dict[str, str]) -> None:
    idle = browser(sign_in(house, GOOD))
    for _ in range(13):
        house.pass_time(hours=24)
        assert me(house, ida) == 200
    assert me(house, idle) == 401  # 96 h unused
    house.pass_time(hours=24)
    assert me(house, ida) == 401  # 14 days


def test_the_form_of_another_sites_page_signs_nobody_in(house: House, ida: dict[str, str]) -> None:
    for origin in ("http://evil.test", "null"):
        response = sign_in(house, GOOD, Origin=origin)
        assert (response.status_code, "set-cookie" in response.headers) == (403, False)


def test_everything_stands_in_the_trail_and_no_secret_anywhere(house: House, ida: dict[str, str]) -> None:
    sign_in(house, OTHER)
    sign_in(house, OTHER, name="Nobody of this name")
    sign_in(house, GOOD)
    with house.database.read() as session:
        said = [(event.kind, event.action) for event in session.exec(select(Event)).all()]
        for kind in (("password", "set"), ("sign_in", "refused"), ("session", "begun")):
            assert kind in said
        assert said.count(("sign_in", "refused")) == 2
        assert list(trail.faults(session, trail.INSTALLATION)) == []
        person = session.exec(select(Person)).one()
        refused = [entry for entry in session.exec(select(AuditEntry)).all() if (entry.after or {}).get("address")]
        assert str(person.id) in {entry.after["person_id"] for entry in refused}
    dump = house.everything_stored()
    assert not any(secret in dump for secret in (GOOD, OTHER, "Nobody of this name"))


@pytest.mark.parametrize("body", [b"", b"name=Ida", b"name=Ida&password=" + b"x" * 300, b"name=a&name=b&password=c",
                                  b"name=%ff&password=x", b"\xff", b"&".join(b"a=1" for _ in range(99)),
                                  b"name=a%00&password=b", b"x" * 20_000])  # fmt: skip
def test_a_form_that_is_wrong_is_refused_without_an_echo(house: House, body: bytes) -> None:
    headers = {**OWN_PAGE, "Content-Type": "application/x-www-form-urlencoded"}
    response = house.send("POST", "/sign-in", token=None, headers=headers, content=body)
    assert response.status_code in (400, 422)
    assert "xxxx" not in response.text


def test_a_password_sent_wrongly_is_not_echoed(house: House, ida: dict[str, str]) -> None:
    for sent in ({"new": "short 0714"}, {"new": GOOD, "present": OTHER}, {"new": "x0714" * 80}):
        response = house.send("PUT", "/v1/sessions/current/password", token=None, headers=ida, json=sent)
        assert response.status_code == 422
        assert not any(secret in response.text for secret in ("0714", GOOD, OTHER))
