"""Photos on the form: made small on the phone, shown and kept before any answer, sent after what they belong to."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser.phone.conftest import Hall, Phone, aside
from browser.phone.typing_in import ready_without_network, states, stored, until, wait_until
from PIL import Image
from support.camera import RED, drawn, photo

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

IS_DRAWN = """(selector) => { const canvas = document.querySelector(selector);
  if (!canvas) return false;
  const [red, green, blue] = canvas.getContext("2d").getImageData(canvas.width / 2, 2, 1, 1).data;
  return red > 150 && green < 90 && blue < 90; }"""
SPOILS_PICTURES = """() => { HTMLCanvasElement.prototype.toBlob = function (give, type) {
  give(new Blob(["no picture at all"], { type })); }; }"""


@pytest.fixture
def system(hall: Hall) -> dict[str, Any]:
    """A system of the test's own, with a label."""
    return hall.a_system(name="Lagoon")


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """What the camera gives: 3000 by 2000 pixels, with a place, red above and blue below."""
    path = tmp_path / "camera.jpg"
    path.write_bytes(photo(image=drawn(3000, 2000), orientation=1, quality=95))
    return path


@pytest.fixture
def page(phone: Phone, hall: Hall, cookie: str, system: dict[str, Any]) -> Page:
    """The observation form of the system, kept on the phone."""
    phone.sign_in(cookie, hall.url)
    page = phone.open(f"{hall.url}/t/{system['label_code']}#observation")
    ready_without_network(page)
    return page


def see(page: Page, what: str, file: Path) -> None:
    """Fill the observation in, with a photo, until it is shown or refused: both move what stands below."""
    page.locator("#observation-what").fill(what)
    page.locator("#observation-photo").set_input_files(str(file))
    page.locator("#observation [data-photo] canvas, #observation [data-photo-told]:not([hidden])").wait_for()


def save(page: Page) -> None:
    page.get_by_role("button", name="Save the observation").click()
    page.locator("#observation .said").get_by_text("Observation").wait_for()


def photos(hall: Hall, system: dict[str, Any]) -> list[dict[str, Any]]:
    """The photos stored of the system."""
    found: list[dict[str, Any]] = hall.call("GET", f"/v1/photos?subject={system['id']}")
    return found


def observations(hall: Hall, system: dict[str, Any]) -> list[str]:
    """What was seen at the system."""
    return [each["what"] for each in hall.call("GET", f"/v1/maintenance-events?subject={system['id']}")]


def test_a_photo_taken_offline_survives_a_reload_and_is_stored_once(
    hall: Hall, phone: Phone, page: Page, system: dict[str, Any], picture: Path
) -> None:
    assert phone.context is not None
    phone.context.set_offline(True)
    see(page, "white tips", picture)
    until(page, f"({IS_DRAWN})('#observation [data-photo] canvas')")  # shown before anything is saved or sent
    save(page)
    until(page, f"({IS_DRAWN})('[data-list=here] canvas')")
    assert page.locator("#observation [data-photo] canvas").count() == 0
    page.reload()
    page.wait_for_selector("html[data-ready]")
    until(page, f"({IS_DRAWN})('[data-list=here] canvas')")
    assert states(page) == ["waiting", "waiting"]
    assert photos(hall, system) == []
    phone.context.set_offline(False)
    wait_until(page, "sent", 2)
    (row,) = photos(hall, system)
    (event,) = hall.call("GET", f"/v1/maintenance-events?subject={system['id']}")
    assert (row["of_kind"], row["of_id"]) == ("maintenance_event", event["id"])
    assert (row["width"], row["height"]) == (1600, 1067)
    jpeg = fetched(hall, row)
    image = Image.open(io.BytesIO(jpeg))
    image.load()
    red = image.getpixel((800, 100))
    assert max(abs(one - other) for one, other in zip(red, RED, strict=True)) < 15
    assert len(jpeg) == row["size_bytes"] < 400_000
    page.reload()
    page.wait_for_selector("html[data-ready]")
    until(page, "document.querySelector('.photos img')?.naturalWidth > 0")


def fetched(hall: Hall, row: dict[str, Any]) -> bytes:
    response = aside(lambda: hall.house.send("GET", f"/v1/photos/{row['id']}/picture"))
    assert response.status_code == 200
    content: bytes = response.content
    return content


def test_what_is_no_picture_is_said_at_once_and_the_observation_is_sent_without(
    hall: Hall, page: Page, system: dict[str, Any], tmp_path: Path
) -> None:
    file = tmp_path / "notes.jpg"
    file.write_text("these are words")
    see(page, "brown film", file)
    page.locator("[data-photo-told]").get_by_text("no picture that this phone can read").wait_for()
    save(page)
    wait_until(page, "sent", 1)
    assert (observations(hall, system), photos(hall, system)) == (["brown film"], [])


def test_a_photo_that_the_service_refuses_says_why_and_holds_nothing_up(
    hall: Hall, page: Page, system: dict[str, Any], picture: Path
) -> None:
    page.evaluate(SPOILS_PICTURES)
    see(page, "a crack", picture)
    until(page, "document.querySelector('#observation [data-photo] canvas') !== null")
    save(page)
    until(
        page, "[...document.querySelectorAll('[data-list=here] li')].some((each) => each.dataset.state === 'refused')"
    )
    page.locator("#observation-what").fill("another crack")
    save(page)
    until(page, "document.querySelectorAll('[data-list=here] li[data-state=sent]').length === 2")
    assert sorted(observations(hall, system)) == ["a crack", "another crack"]
    assert states(page) == ["sent", "refused", "sent"]
    (refused,) = [each for each in stored(page) if each["state"] == "refused"]
    assert (refused["kind"], refused["why"]["status"]) == ("photos", 422)
    assert "This is no picture" in refused["why"]["detail"]


def test_undo_takes_the_photo_along(hall: Hall, page: Page, system: dict[str, Any], picture: Path) -> None:
    see(page, "a mistake", picture)
    save(page)
    wait_until(page, "sent", 2)
    page.locator("#observation [data-undo]").click()
    until(page, "document.querySelector('#observation .said').textContent.startsWith('Undone')")
    until_gone(page, lambda: photos(hall, system) == [])


def until_gone(page: Page, holds: Callable[[], bool]) -> None:
    """Wait until the service says so."""
    for _ in range(200):
        if holds():
            return
        page.wait_for_timeout(100)
    pytest.fail("it never came")


def test_a_photo_is_taken_away_again(hall: Hall, page: Page, system: dict[str, Any], picture: Path) -> None:
    see(page, "only words", picture)
    page.get_by_role("button", name="Without the photo").click()
    save(page)
    wait_until(page, "sent", 1)
    assert photos(hall, system) == []


def test_the_desk_shows_it_where_the_system_is_shown(
    hall: Hall, page: Page, system: dict[str, Any], picture: Path
) -> None:
    see(page, "pale <b>tips</b>", picture)
    save(page)
    wait_until(page, "sent", 2)
    page.goto(f"{hall.url}/sites/{hall.site['tag']}/systems/{system['tag']}")
    shown = page.locator(".photos img")
    assert shown.get_attribute("alt") == "pale <b>tips</b>"
    until(page, "document.querySelector('.photos img').naturalWidth === 320")
