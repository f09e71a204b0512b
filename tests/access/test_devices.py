"""Shared devices: several people, a PIN each; records by the person, the device named, and never more than a keeper."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

import pytest
from access.conversation import OWN_PAGE
from access.table import RUN_STEPS
from access.test_passwords import GOOD, by_link, linked, me, set_password, sign_in
from sqlmodel import select
from support.house import House

from service.access.models import PinTries
from service.storage.trail import AuditEntry, Event

PIN, WRONG = "2904", "2905"


class Hall:
    """A site with a shared tablet, a keeper with a PIN and a supervisor with another."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.site = house.a_site(tag="hall")
        self.system = house.a_system(self.site)
        self.people = {name: self.person(name, role) for name, role in (("Ida", "keeper"), ("Jo", "supervisor"))}
        self.supervisor = by_link(house, self.people["Jo"])
        content = {"site_id": self.site["id"], "name": "hall-tablet"}
        opened = house.send("POST", "/v1/devices", token=None, headers=self.supervisor, json=content)
        assert opened.status_code == 201, opened.text
        self.id = opened.json()["id"]
        held = [each.split(";")[0] for each in opened.headers.get_list("set-cookie")]
        (self.cookie,) = [each for each in held if each.startswith("ooid_device=")]
        self.cleared = [each for each in held if each.startswith("ooid_session=")]

    def person(self, name: str, role: str, pin: str = PIN) -> str:
        """The id of a new person with a PIN and a password."""
        held = linked(self.house, name, role, self.site["id"])
        path = "/v1/sessions/current/pin"
        assert self.house.send("PUT", path, token=None, headers=held, json={"pin": pin}).status_code == 204
        set_password(self.house, held, GOOD)
        (person,) = [each for each in self.house.call("GET", "/v1/people") if each["name"] == name]
        return str(person["id"])

    def pick(self, name: str = "Ida", pin: str = PIN, session: str = "", **headers: str) -> Any:
        """The response to picking a name and typing a PIN on the tablet."""
        sent = {**OWN_PAGE, "Cookie": f"{self.cookie}; {session}", **headers}
        form = {"person": self.people[name], "pin": pin}
        return self.house.send("POST", "/device", token=None, headers=sent, data=form)

    def picked(self, name: str = "Ida", **options: str) -> dict[str, str]:
        """The headers of the tablet once this person signed in on it."""
        response = self.pick(name, **options)
        assert response.status_code == 303, response.text
        return {**OWN_PAGE, "Cookie": response.headers["set-cookie"].split(";")[0]}

    def call(self, held: dict[str, str], method: str, path: str, json: Any = None, **options: Any) -> Any:
        """What somebody on the tablet is answered."""
        headers = {**held, **options.pop("headers", {})}
        return self.house.call(method, path, json, token=None, headers=headers, **options)

    def record(self, held: dict[str, str]) -> Any:
        """A reading recorded on the tablet."""
        content = {"subject_id": self.system["id"], "quantity": "alkalinity", "value": 8.0, "unit": "dKH",
                   "taken_at": self.house.now.isoformat()}  # fmt: skip
        return self.call(held, "PUT", f"/v1/readings/{uuid4()}", content)


@pytest.fixture
def hall(house: House) -> Hall:
    """A hall with its tablet."""
    return Hall(house)


def test_whoever_opens_a_device_is_signed_out_on_it(hall: Hall) -> None:
    assert hall.cleared == ['ooid_session=""']
    assert me(hall.house, hall.supervisor) == 401


def test_a_record_is_the_persons_and_its_entry_names_the_device(hall: Hall) -> None:
    reading = hall.record(hall.picked())
    assert reading["recorded_by"] == hall.people["Ida"]
    with hall.house.database.read() as session:
        event = next(each for each in session.exec(select(Event)) if str(each.thing_id) == reading["id"])
        entry = session.get_one(AuditEntry, (event.chain_id, event.seq))
    assert (str(entry.actor_id), entry.origin) == (hall.people["Ida"], "device hall-tablet")


@pytest.mark.parametrize("name", ["Ida", "Jo"])
def test_a_pin_records_and_corrects_own_records_and_nothing_more(hall: Hall, name: str) -> None:
    held = hall.picked(name)
    own, first = hall.record(held), {"If-Match": '"1"'}
    change = {"value": 8.1, "reason": "misread"}
    hall.call(held, "POST", f"/v1/readings/{own['id']}/corrections", change, headers=first)
    foreign = hall.house.a_reading(hall.system["id"])
    hall.call(held, "POST", f"/v1/readings/{foreign['id']}/corrections", change, headers=first, status=403)
    room = {"site_id": hall.site["id"], "tag": "plant", "name": "Plant room"}
    hall.call(held, "POST", "/v1/rooms", room, status=403)
    for path in ("/v1/people", "/v1/tokens", "/v1/devices"):
        hall.call(held, "GET", path, status=403)
    hall.call(held, "PUT", "/v1/sessions/current/pin", {"pin": "7391"}, status=403)
    hall.call(held, "PUT", "/v1/sessions/current/password", {"present": GOOD, "new": "x" * 5 + "y" * 9}, status=403)


def test_an_administrator_of_the_installation_is_a_keeper_of_the_devices_site_alone(hall: Hall) -> None:
    hall.house.a_site(tag="elsewhere")
    held = linked(hall.house, "Chief", "administrator")
    hall.call(held, "PUT", "/v1/sessions/current/pin", {"pin": PIN}, status=204)
    hall.people["Chief"] = hall.call(held, "GET", "/v1/sessions/current")["id"]
    on_device = hall.picked("Chief")
    access = hall.call(on_device, "GET", "/v1/sessions/current")["access"]
    assert [(each["site_id"], each["role"]) for each in access] == [(hall.site["id"], "keeper")]
    assert [site["tag"] for site in hall.call(on_device, "GET", "/v1/sites")] == ["hall"]


def test_five_wrong_pins_lock_it_on_this_device_until_the_password_comes(hall: Hall) -> None:
    for _ in range(5):
        assert hall.pick(pin=WRONG).status_code == 401
    locked = hall.pick()
    assert (locked.status_code, "locked" in locked.json()["detail"]) == (401, True)
    hall.house.pass_time(days=2)
    assert hall.pick().status_code == 401  # no waiting opens it
    assert hall.pick("Jo").status_code == 303  # nobody else's is locked
    assert sign_in(hall.house, GOOD, name="Ida").status_code == 303
    assert hall.pick().status_code == 303


def test_a_right_pin_clears_the_wrong_ones(hall: Hall) -> None:
    for _ in range(2):
        assert [hall.pick(pin=pin).status_code for pin in [WRONG] * 4 + [PIN]] == [401] * 4 + [303]
    with hall.house.database.read() as session:
        assert session.exec(select(PinTries)).all() == []


def test_a_device_that_guesses_at_many_waits(hall: Hall) -> None:
    for name in ("Ida", "Jo"):
        for _ in range(5):
            assert hall.pick(name, pin=WRONG).status_code == 401
    refused = hall.pick("Jo")
    assert (refused.status_code, refused.headers["retry-after"]) == (429, "2")


def test_the_next_to_sign_in_ends_the_session_of_the_one_before(hall: Hall) -> None:
    ida = hall.picked()
    jo = hall.picked("Jo", session=ida["Cookie"])
    assert (me(hall.house, ida), me(hall.house, jo)) == (401, 200)


def test_whoever_is_picked_is_signed_out_when_idle(hall: Hall) -> None:
    held = hall.picked()
    for _ in range(4):
        hall.house.pass_time(minutes=4)
        assert me(hall.house, held) == 200
    hall.house.pass_time(minutes=5)
    assert me(hall.house, held) == 401


def test_leaving_signs_out_and_the_device_stays(hall: Hall) -> None:
    held = hall.picked()
    left = hall.house.send("POST", "/device/leaving", token=None, headers=held)
    assert (left.status_code, left.headers["location"], me(hall.house, held)) == (303, "/device", 401)
    assert hall.pick().status_code == 303


def test_a_closed_device_opens_nothing(hall: Hall) -> None:
    held = hall.picked()
    assert [each["name"] for each in hall.house.call("GET", "/v1/devices")] == ["hall-tablet"]
    hall.house.call("POST", f"/v1/devices/{hall.id}/closing")
    assert (me(hall.house, held), hall.pick().status_code) == (401, 401)
    assert hall.house.call("GET", "/v1/devices") == []


def test_names_are_shown_on_the_device_alone_and_only_of_who_may_record_there(hall: Hall) -> None:
    hall.person("Reader of the hall", "reader")
    shown = hall.house.send("GET", "/device", token=None, headers={"Cookie": hall.cookie})
    assert (shown.status_code, ">Ida<" in shown.text, "Reader" in shown.text) == (200, True, False)
    stranger = hall.house.send("GET", "/device", token=None)
    assert (stranger.status_code, "Ida" in stranger.text) == (401, False)


def test_somebody_who_cannot_be_picked_is_answered_as_a_wrong_pin(hall: Hall) -> None:
    hall.people["Ghost"] = str(uuid4())
    assert hall.pick("Ghost").json() == hall.pick(pin=WRONG).json()


@pytest.mark.parametrize("origin", ["http://evil.test", "null"])
def test_another_sites_page_picks_nobody(hall: Hall, origin: str) -> None:
    assert hall.pick(Origin=origin).status_code == 403


def test_neither_pin_nor_cookie_is_stored(hall: Hall) -> None:
    hall.picked()
    dump = hall.house.everything_stored()
    assert hall.cookie.partition("=")[2] not in dump
    assert f"'{PIN}'" not in dump


def test_a_second_person_signs_beside_by_pin_in_their_own_role(hall: Hall) -> None:
    """The keeper stays signed in: a PIN is good for one signature, and proves its person's own role on the site."""
    held = hall.picked()
    run = f"/v1/commissionings/{uuid4()}"
    now = hall.house.now.isoformat()
    begun = {"procedure": "low_ph_cut_off_test", "subject_id": hall.system["id"], "started_at": now}
    hall.call(held, "PUT", run, begun)
    for code, content in RUN_STEPS[:4]:
        hall.call(held, "POST", f"{run}/steps/{code}", {"done_at": now, **content})
    sign, jo = f"{run}/steps/bubbles_stopped/sign", {"person_id": hall.people["Jo"], "pin": PIN}
    assert "by name and PIN" in hall.call(held, "POST", sign, {}, status=403)["detail"]
    own = {"person_id": hall.people["Ida"], "pin": PIN}
    assert "role life_support" in hall.call(held, "POST", sign, own, status=403)["detail"]
    assert hall.call(held, "POST", sign, {"pin": PIN}, status=422)["errors"][0]["pointer"] == "/person_id"
    wrong = hall.call(held, "POST", sign, {**jo, "pin": WRONG}, status=403)
    assert wrong["errors"][0]["pointer"] == "/pin"
    signed = hall.call(held, "POST", sign, jo)
    evidence = signed["steps"][3]["evidence"]
    assert (evidence["second"]["by"], evidence["recorded_by"]) == (hall.people["Jo"], hall.people["Ida"])
    assert me(hall.house, held) == 200
    assert hall.call(held, "GET", "/v1/sessions/current")["id"] == hall.people["Ida"]
    with hall.house.database.read() as session:
        of_site = select(AuditEntry).where(AuditEntry.chain_id == UUID(hall.site["id"]))
        last = max(session.exec(of_site), key=lambda entry: entry.seq)
        assert (str(last.actor_id), last.origin) == (hall.people["Jo"], "device hall-tablet")
    content = {"done_at": now}
    hall.call(held, "POST", f"{run}/steps/back_in_place", content)
    assert hall.call(held, "POST", f"{run}/sign", jo)["signed"]["by"] == hall.people["Jo"]
    assert jo["pin"] not in hall.house.everything_stored()

    private = by_link(hall.house, hall.people["Ida"])
    another = f"/v1/commissionings/{uuid4()}"
    hall.house.call("PUT", another, begun, token=None, headers=private)
    path = f"{another}/steps/probe_checked/sign"
    refused = hall.house.call("POST", path, jo, token=None, headers=private, status=403)
    assert "only on a shared device" in refused["detail"]


def test_a_pin_that_signs_is_locked_and_throttled_like_one_that_signs_in(hall: Hall) -> None:
    held = hall.picked()
    run = f"/v1/commissionings/{uuid4()}/steps/bubbles_stopped/sign"
    guess = {"person_id": hall.people["Jo"], "pin": WRONG}
    details = [hall.call(held, "POST", run, guess, status=403)["detail"] for _ in range(6)]
    locked = "is locked on this device"
    assert [locked in each for each in details] == [False] * 5 + [True]
    assert locked in hall.call(held, "POST", run, {**guess, "pin": PIN}, status=403)["detail"]
    statuses = {hall.house.send("POST", run, token=None, headers=held, json=guess).status_code for _ in range(6)}
    assert 429 in statuses
