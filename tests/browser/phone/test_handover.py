"""The change of shifts on a phone: read and taken over without a network or a mouse; what the next shift then sees."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4

import pytest
from browser.phone.conftest import WINDOW, Hall, Phone, aside
from browser.phone.typing_in import ready_without_network, states, stored, until, wait_until
from browser.test_pages import violations
from sqlmodel import select
from support.camera import photo
from support.lossy import Lossy
from web.visitor import signed_in

from service.http.cookies import PLAIN
from service.resources.records.takeovers.models import Takeover

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

TAKE_OVER = "I have read it and take over"


class Shift:
    """A site of the test's own where something happened, and what was recorded of its changes of shifts."""

    def __init__(self, hall: Hall, tag: str) -> None:
        self.hall, self.tag = hall, tag
        site = aside(lambda: hall.house.a_site(tag=tag, name="The house", units={"alkalinity": "dKH"}, time_zone="UTC"))
        self.site: dict[str, Any] = site
        self.system: dict[str, Any] = aside(lambda: hall.house.a_system(site, tag="lagoon", name="Lagoon"))
        self.path = f"/phone/handover/{tag}"

    def happens(self, what: str, kind: str = "lost") -> None:
        """Corals are lost, or added."""
        at = datetime.now(UTC).isoformat()
        sent = {"subject_id": self.system["id"], "kind": kind, "at": at, "what": what, "count": 2}
        self.hall.call("PUT", f"/v1/stock-changes/{uuid4()}", sent)

    def is_said(self, text: str) -> dict[str, Any]:
        """A note is left."""
        sent = {"site_id": self.site["id"], "text": text, "written_at": datetime.now(UTC).isoformat()}
        note: dict[str, Any] = self.hall.call("PUT", f"/v1/handovers/{uuid4()}", sent)
        return note

    def records(self, kind: str) -> list[dict[str, Any]]:
        """What stands of a kind, the newest first."""
        found: list[dict[str, Any]] = self.hall.call("GET", f"/v1/{kind}?site={self.tag}")
        return found


@pytest.fixture
def shift(hall: Hall) -> Shift:
    """A site with a loss and a note."""
    hall.house.now = datetime.now(UTC)
    made = Shift(hall, f"s-{uuid4().hex[:8]}")
    made.happens("staghorn")
    made.is_said("the drip is slow")
    return made


Opener = Callable[..., "Page"]


@pytest.fixture
def page_of(browser: Browser, hall: Hall) -> Any:
    """Opens the page in a window of a person's own."""
    contexts = []

    def opened(path: str, cookie: str, *, is_ready: bool = True, **window: Any) -> Page:
        context = browser.new_context(**{"viewport": WINDOW, **window})
        contexts.append(context)
        context.add_cookies([{"name": PLAIN, "value": cookie, "url": hall.url}])
        page = context.new_page()
        page.goto(hall.url + path)
        if is_ready:
            page.wait_for_selector("html[data-ready]")
        return page

    yield opened
    for context in contexts:
        context.close()


def told(page: Page) -> str:
    """Everything that the page says."""
    return page.locator("main").inner_text()


def test_read_taken_over_and_answered_without_a_network(
    hall: Hall, phone: Phone, cookie: str, shift: Shift, page_of: Opener
) -> None:
    phone.sign_in(cookie, hall.url)
    page = phone.open(hall.url + shift.path)
    ready_without_network(page)
    phone.context.set_offline(True)  # type: ignore[union-attr]
    shift.happens("elkhorn")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert "staghorn" in told(page)
    assert "the drip is slow" in told(page)
    page.get_by_role("button", name=TAKE_OVER).click()
    page.locator("[data-taken]").get_by_text("saved on this phone").wait_for()
    assert not page.get_by_role("button", name=TAKE_OVER).is_visible()
    page.get_by_label("What it is about").select_option(label="Lagoon (system)")
    page.get_by_label("What they should know").fill("valve two sticks")
    page.get_by_role("button", name="Save the note").click()
    wait_until(page, "waiting", 2)
    page.reload()
    page.wait_for_selector("html[data-ready]")
    page.locator("[data-taken]").get_by_text("saved on this phone").wait_for()

    phone.context.set_offline(False)  # type: ignore[union-attr]
    wait_until(page, "sent", 2)
    page.locator("[data-taken]").get_by_text("sent").wait_for()
    assert len(shift.records("takeovers")) == 1
    (left,) = [each for each in shift.records("handovers") if each["text"] == "valve two sticks"]
    assert left["subject_id"] == shift.system["id"]

    page.reload()
    page.wait_for_selector("html[data-ready]")
    after = told(page)
    assert "elkhorn" in after, "what came while the phone had no network was not read"
    assert "valve two sticks" in after
    assert "staghorn" not in after
    assert "the drip is slow" not in after


def test_two_take_over_and_the_next_shift_sees_only_what_came_after(hall: Hall, shift: Shift, page_of: Opener) -> None:
    for number, name in enumerate(("First", "Second")):
        page = page_of(shift.path, signed_in(hall.house, name=name))
        assert "staghorn" in told(page)
        assert ("With you took over: First" in told(page)) is (number == 1)
        page.get_by_role("button", name=TAKE_OVER).click()
        wait_until(page, "sent", 1)
    shift.happens("elkhorn")
    assert len(shift.records("takeovers")) == 2
    with hall.house.database.write() as session:
        for row in session.exec(select(Takeover).where(Takeover.site_id == UUID(shift.site["id"]))):
            row.at -= timedelta(hours=4)  # as if so long ago: a browser's clock cannot be moved
    page = page_of(shift.path, signed_in(hall.house, name="Third"))
    assert "elkhorn" in told(page)
    assert "staghorn" not in told(page)
    assert "Taken over then by Second" in told(page)


def test_a_lost_answer_takes_over_once(hall: Hall, phone: Phone, cookie: str, shift: Shift, lossy: Lossy) -> None:
    phone.sign_in(cookie, lossy.url)
    page = phone.open(lossy.url + shift.path)
    lossy.lose = 0.7
    page.get_by_role("button", name=TAKE_OVER).click()
    wait_until(page, "sent", 1)
    lossy.lose = 0.0
    print([each.fate for each in lossy.seen("PUT")])
    assert len(shift.records("takeovers")) == 1


def test_by_keyboard_alone_and_taken_back(hall: Hall, phone: Phone, cookie: str, shift: Shift) -> None:
    phone.sign_in(cookie, hall.url)
    page = phone.open(hall.url + shift.path)
    pressed(page, TAKE_OVER)
    wait_until(page, "sent", 1)
    assert page.evaluate("document.activeElement.textContent") == "Undo", "the focus goes on where the button went"
    page.keyboard.press("Enter")
    page.get_by_role("button", name=TAKE_OVER).wait_for()
    wait_until(page, "sent", 2)
    assert shift.records("takeovers") == []
    assert page.evaluate("document.activeElement.textContent") == TAKE_OVER
    page.keyboard.press("Enter")
    wait_until(page, "sent", 3)
    for _ in range(3):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "handover-text":
            break
    page.keyboard.type("valve two sticks")
    pressed(page, "Save the note")
    wait_until(page, "sent", 4)
    assert shift.records("handovers")[0]["text"] == "valve two sticks"


def pressed(page: Page, button: str) -> None:
    """Walk to a button with the Tab key and press it."""
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == button:
            page.keyboard.press("Enter")
            return
    raise AssertionError(f"{button} is not reached by Tab")


def test_without_scripts_it_is_read_and_begins_where_one_says(
    hall: Hall, cookie: str, shift: Shift, page_of: Opener
) -> None:
    page = page_of(shift.path, cookie, is_ready=False, java_script_enabled=False)
    assert "staghorn, 2: lost" in told(page)
    assert f"{datetime.now(UTC):%Y-%m-%d}" in told(page)
    assert "needs scripts" in told(page)
    assert not page.get_by_role("button", name=TAKE_OVER).is_visible()
    page.get_by_text("Since another time").click()
    since = page.get_by_label("Since a time by the clock of")
    since.fill(since.get_attribute("max") or "")  # the minute in which the page was made
    page.get_by_role("button", name="Show").click()
    page.wait_for_url("**since=*")
    assert "staghorn" in told(page)


def test_another_beginning_is_not_kept_in_place_of_the_list(
    hall: Hall, phone: Phone, cookie: str, shift: Shift
) -> None:
    phone.sign_in(cookie, hall.url)
    page = phone.open(hall.url + shift.path)
    ready_without_network(page)
    page.get_by_text("Since another time").click()
    page.get_by_role("link", name="The last week").click()
    page.wait_for_url("**days=7")
    page.wait_for_selector("html[data-ready]")
    kept = "async () => (await (await caches.match(location.pathname)).text()).includes('Nobody took over')"
    until(page, kept)


def test_with_photos_and_much_to_tell_it_stays_accessible_and_narrow(
    hall: Hall, cookie: str, shift: Shift, page_of: Opener
) -> None:
    note = shift.is_said("A very long note: " + "the effluent line at the far end of the gallery " * 8)
    at = datetime.now(UTC).isoformat()
    taken = {"of_kind": "handover", "of_id": note["id"], "taken_at": at}
    jpeg = {"content": photo(), "headers": {"Content-Type": "image/jpeg"}, "params": taken}
    aside(lambda: hall.house.send("PUT", f"/v1/photos/{uuid4()}", **jpeg))
    reading = {"quantity": "alkalinity", "value": 80, "unit": "dKH", "taken_at": at, "confirm": True}
    hall.call("PUT", f"/v1/readings/{uuid4()}", {"subject_id": shift.system["id"], **reading})
    target = {"quantity": "target_alkalinity", "unit": "dKH", "value": 8.5, "from": at, "reason": "more growth"}
    hall.call("PUT", f"/v1/set-points/{uuid4()}", {"subject_id": shift.system["id"], **target})
    shift.happens("shelf coral", "added")
    for scheme in ("light", "dark"):
        page = page_of(shift.path, cookie, color_scheme=scheme)
        page.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
        page.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
        assert violations(page) == []
        assert page.locator("main img").count() == 1
    said = told(page)
    order = ["staghorn", "Alkalinity 80", "the effluent line", "set to 8.5", "shelf coral"]
    assert [said.index(each) for each in order] == sorted(said.index(each) for each in order), said
    for width in (320, 390, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_whoever_may_only_read_is_not_asked_to_take_over(hall: Hall, shift: Shift, page_of: Opener) -> None:
    page = page_of(shift.path, signed_in(hall.house, "reader", name="Guest"))
    assert "staghorn" in told(page)
    assert page.get_by_role("button", name=TAKE_OVER).count() == 0
    assert stored(page) == [] == states(page)
