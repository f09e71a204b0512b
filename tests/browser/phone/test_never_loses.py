"""The form never loses what was typed and never doubles it, whatever the network, the browser or the service do.

The promises are the project's own; the faults are those of phones in pump rooms: lost answers, reset connections, no
network for days, a browser that is closed, a service that was killed, a sign-in that ran out, two tabs.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from browser.phone.conftest import PATIENCE, Hall, Phone
from browser.phone.typing_in import reading, ready_without_network, save_reading, states, stored, until, wait_until
from support.lossy import Lossy
from web.visitor import signed_in

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

ENTRIES = 20
WATCHED_FETCH = """() => { window.settled = []; const ask = window.fetch;
  window.fetch = (...call) => ask(...call).finally(() => window.settled.push(String(call[0]))); }"""


@pytest.fixture
def system(hall: Hall) -> dict[str, Any]:
    """A system of the test's own, with a label."""
    return hall.a_system(name="Lagoon")


def opened(phone: Phone, base: str, cookie: str, system: dict[str, Any]) -> Page:
    """The system's page, from its label's address."""
    phone.sign_in(cookie, base)
    return phone.open(f"{base}/t/{system['label_code']}")


def values(hall: Hall, system: dict[str, Any]) -> list[float]:
    """The values stored of a system, as entered."""
    return [row.entered["value"] for row in hall.readings(system["id"])]


def test_through_a_network_that_loses_half_the_answers_twenty_entries_become_twenty_records(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any], lossy: Lossy
) -> None:
    page = opened(phone, lossy.url, cookie, system)
    lossy.lose, lossy.reset = 0.5, 0.2
    for number in range(ENTRIES):
        save_reading(page, f"{7.5 + number / 20:.2f}")
    wait_until(page, "sent", ENTRIES)
    assert sorted(values(hall, system)) == [round(7.5 + number / 20, 2) for number in range(ENTRIES)]
    fates = [each.fate for each in lossy.seen("PUT")]
    print(f"{len(fates)} sendings of {ENTRIES} entries: { ({fate: fates.count(fate) for fate in sorted(set(fates))}) }")
    assert fates.count("lost") >= 5  # else the network was too kind to prove anything
    assert fates.count("reset") >= 2


def test_it_is_saved_and_shown_before_the_network_answers(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any], lossy: Lossy
) -> None:
    page = opened(phone, lossy.url, cookie, system)
    lossy.may_answer.clear()
    page.evaluate(WATCHED_FETCH)
    save_reading(page, "8.1")
    said = page.locator("#readings .said")
    said.get_by_text("saved on this phone").wait_for()
    assert page.evaluate("window.settled") == []  # neither answered nor given up
    assert states(page) == ["waiting"]
    assert not [each for each in lossy.seen("PUT") if each.fate == "answered"]
    assert values(hall, system) == []
    lossy.may_answer.set()
    said.get_by_text("Alkalinity 8.1 dKH: sent").wait_for()
    assert values(hall, system) == [8.1]


def test_offline_for_days_through_reload_and_a_closed_browser(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    page = opened(phone, hall.url, cookie, system)
    ready_without_network(page)
    phone.context.set_offline(True)  # type: ignore[union-attr]
    for value in ("8.1", "8,0", "7.9"):
        save_reading(page, value)
    reading(page, "Calcium").fill("42")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert reading(page, "Calcium").input_value() == "42"
    assert states(page) == ["waiting"] * 3

    phone.stop()
    phone.start().set_offline(True)
    page = phone.open(f"{hall.url}/t/{system['label_code']}")
    assert states(page) == ["waiting"] * 3
    assert reading(page, "Calcium").input_value() == "42"
    reading(page, "Calcium").fill("")
    save_reading(page, "7.8")
    assert values(hall, system) == []

    phone.context.set_offline(False)  # type: ignore[union-attr]
    wait_until(page, "sent", 4)
    assert values(hall, system) == [8.1, 8.0, 7.9, 7.8]


def test_a_killed_service(hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]) -> None:
    page = opened(phone, hall.url, cookie, system)
    ready_without_network(page)
    save_reading(page, "8.2")
    wait_until(page, "sent", 1)
    hall.server.kill()
    try:
        save_reading(page, "8.3")
        page.locator("#readings .said").get_by_text("cannot be reached").wait_for()
        page.reload()
        page.wait_for_selector("html[data-ready]")
        assert states(page) == ["sent", "waiting"]
        assert page.evaluate("navigator.onLine") is True  # so the network's own event will not help
    finally:
        hall.server.start()
    wait_until(page, "sent", 2)
    assert values(hall, system) == [8.2, 8.3]


def test_a_sign_in_that_ran_out_keeps_what_waits(hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]) -> None:
    page = opened(phone, hall.url, cookie, system)
    ready_without_network(page)
    hall.expire_sign_in()
    save_reading(page, "8.4")
    page.locator("#readings .said").get_by_text("waits until you sign in").wait_for()
    page.reload()
    page.wait_for_selector("html[data-ready]")
    save_reading(page, "8.5")
    assert states(page) == ["waiting"] * 2

    hall.renew_sign_in(cookie)
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    wait_until(page, "sent", 2)
    assert values(hall, system) == [8.4, 8.5]


def test_signing_out_takes_the_kept_pages_away_and_leaves_what_waits(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    page = opened(phone, hall.url, cookie, system)
    ready_without_network(page)
    address = page.url
    phone.context.set_offline(True)  # type: ignore[union-attr]
    save_reading(page, "8.3")
    page.goto("about:blank")
    phone.context.set_offline(False)  # type: ignore[union-attr]
    page.goto(hall.url + "/")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="Sign in").wait_for()
    page.goto(address)
    assert "Lagoon" not in page.content()
    assert page.locator("h1").inner_text() == "Sign in first"
    assert states(page) == ["waiting"]
    phone.sign_in(signed_in(hall.house, name="Next shift"), hall.url)
    page.goto(address)
    page.wait_for_selector("html[data-ready]")
    page.locator("[data-lately]").get_by_text("waits until Keeper signs in").wait_for()
    assert hall.authors(system["id"]) <= {"Keeper"}  # a page on its way out may send, as its own person


def test_what_one_person_typed_is_not_sent_as_another(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    page = opened(phone, hall.url, cookie, system)
    ready_without_network(page)
    phone.context.set_offline(True)  # type: ignore[union-attr]
    save_reading(page, "8.6")
    phone.sign_in(signed_in(hall.house, name="Somebody else"), hall.url)
    phone.context.set_offline(False)  # type: ignore[union-attr]
    page.locator("[data-notices]").get_by_text("Somebody else is signed in now").wait_for()
    assert states(page) == ["waiting"]
    assert values(hall, system) == []
    phone.sign_in(cookie, hall.url)
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    wait_until(page, "sent", 1)
    assert values(hall, system) == [8.6]


def test_a_page_that_knew_who_was_signed_in_sends_nothing_as_the_next_person(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    page = opened(phone, hall.url, cookie, system)
    save_reading(page, "8.6")
    wait_until(page, "sent", 1)  # the page asks who is signed in only every half minute
    phone.sign_in(signed_in(hall.house, name="Next shift"), hall.url)
    save_reading(page, "8.7")
    page.locator("[data-notices]").get_by_text("Next shift is signed in now").wait_for()
    assert states(page) == ["sent", "waiting"]
    assert values(hall, system) == [8.6]
    assert hall.authors(system["id"]) == {"Keeper"}


def test_two_tabs_send_each_entry_once(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any], lossy: Lossy
) -> None:
    first = opened(phone, lossy.url, cookie, system)
    second = phone.open(first.url)
    lossy.may_answer.clear()
    for number, page in enumerate((first, second, first, second)):
        save_reading(page, f"{8 + number / 10:.1f}")
    for page in (first, second):
        page.evaluate("window.dispatchEvent(new Event('focus'))")
    lossy.may_answer.set()
    for page in (first, second):
        wait_until(page, "sent", 4)
    assert values(hall, system) == [8.0, 8.1, 8.2, 8.3]
    paths = [each.path for each in lossy.seen("PUT")]
    assert sorted(paths) == sorted(set(paths))
    assert len(paths) == 4


def test_a_refused_entry_says_why_and_holds_up_nothing(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    page = opened(phone, hall.url, cookie, system)
    page.locator("details.more summary").filter(has_text="Method").click()
    page.locator("#readings-when").fill("2190-01-01T08:00")
    save_reading(page, "8.7")
    save_reading(page, "8.8")
    until(page, "document.querySelectorAll('[data-state=refused]').length === 1")
    until(page, "document.querySelectorAll('[data-state=sent]').length === 1")
    assert "ahead of the service's clock" in page.locator("[data-state=refused]").inner_text()
    assert values(hall, system) == [8.8]
    page.goto(f"{hall.url}/phone/waiting")
    page.wait_for_selector("html[data-ready]")
    assert page.locator("[data-list=refused] li").count() == 1
    with page.expect_download(timeout=PATIENCE) as download:
        page.get_by_role("link", name="Download what waits").click()
    text = download.value.path().read_text()
    assert '"value": 8.7' in text
    assert '"value": 8.8' not in text
    assert [item["state"] for item in stored(page)].count("refused") == 1


def test_a_german_phone_says_why_in_german_and_marks_the_services_english(
    hall: Hall, phone: Phone, cookie: str, system: dict[str, Any]
) -> None:
    phone.stop()
    phone.options["locale"] = "de-DE"
    phone.start()
    page = opened(phone, hall.url, cookie, system)
    page.locator("details.more summary").filter(has_text="Methode, Probe").click()
    page.locator("#readings-when").fill("2190-01-01T08:00")
    page.locator("[data-quantity=alkalinity] [data-value]").fill("8,7")
    page.locator("#readings button[type=submit]").click()
    until(page, "document.querySelectorAll('[data-state=refused]').length === 1")
    refused = page.locator("[data-state=refused]")
    assert "etwas daran kann nicht angenommen werden" in refused.locator(".state").inner_text()
    assert "ahead of the service's clock" in refused.locator("[lang=en]").first.inner_text()
