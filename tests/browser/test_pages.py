"""Every page in a real browser: accessible (WCAG 2.2 AA as far as axe-core can tell), narrow, dark, by keyboard."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser.conftest import INVENTED, MEASURED, Opener, Served
from sqlmodel import select
from web.visitor import signed_in

from service.access.models import BrowserSession, Password
from service.access.secrets import hashed

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

REPORT = f"/v1/reports/weekly?site={INVENTED}&format=html"
PAGES = {
    "first": "/",
    "desk": f"/sites/{INVENTED}",
    "course": f"/sites/{INVENTED}/systems/lagoon",
    "course-unknown": f"/sites/{INVENTED}/systems/quarantine",
    "desk-measured": f"/sites/{MEASURED}",
    "course-measured": f"/sites/{MEASURED}/systems/lagoon",
    "report": REPORT,
    "report-measured": f"/v1/reports/weekly?site={MEASURED}&format=html",
    "reference": "/docs",
    "sign-in": "/sign-in",
    "problem": "/problems/unacceptable",
    "account": "/account",
}
RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],  # the passes of a long page would be megabytes
}
PART = {"include": [[".title"], [".top"], [".contents"], ["#chapter-readings"], ["#problems-explained"], [".foot"]]}
WINDOWS = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 900}}
SMALLEST_TARGET = 24  # WCAG 2.2, success criterion 2.5.8, level AA


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("window", list(WINDOWS))
@pytest.mark.parametrize("name", list(PAGES))
def test_it_is_accessible_quiet_and_never_wider_than_the_window(
    opened: Opener, tmp_path: Path, name: str, window: str, scheme: str
) -> None:
    seen = opened(PAGES[name], viewport=WINDOWS[window], color_scheme=scheme)
    is_long = name == "reference"  # a picture of all of it would be a hundred thousand pixels high
    seen.page.screenshot(path=str(tmp_path / f"{name}-{window}-{scheme}.png"), full_page=not is_long)
    assert violations(seen.page, PART if is_long else None) == []
    for width in (WINDOWS[window]["width"], 320):
        seen.page.set_viewport_size({"width": width, "height": 800})
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    assert seen.complaints == []


def test_the_whole_reference_is_accessible(opened: Opener) -> None:
    """Once: its chapters are alike, and judging thousands of elements takes a browser many seconds."""
    assert violations(opened("/docs", viewport=WINDOWS["desk"]).page) == []


def violations(page: Page, part: dict[str, Any] | None = None) -> list[tuple[str, list[str]]]:
    """The rules of axe-core that the page, or a part of it, breaks, each with the first elements that do."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page, context=part, options=RULES).response["violations"]
    return [(each["id"], [node["html"][:200] for node in each["nodes"][:3]]) for each in found]


def test_a_stranger_sees_the_first_page_and_is_told_to_sign_in_on_the_others(opened: Opener) -> None:
    seen = opened("/", is_signed_in=False)
    assert "Sign in" in seen.page.inner_text("main")
    assert seen.complaints == []
    refused = opened(PAGES["desk"], is_signed_in=False)
    assert refused.page.inner_text("h1") == "Sign in first"


def test_a_policy_is_in_force_that_an_inline_script_would_break(opened: Opener) -> None:
    """Without this the silence of the other tests would prove nothing."""
    seen = opened("/")
    seen.page.evaluate("document.body.insertAdjacentHTML('beforeend', '<img src=x onerror=\"window.broken = 1\">')")
    seen.page.wait_for_timeout(300)
    assert seen.page.evaluate("window.broken") is None
    assert any("Content Security Policy" in complaint for complaint in seen.complaints)


@pytest.mark.parametrize("name", sorted(set(PAGES) - {"problem"}))  # nothing there is pressed
def test_what_is_pressed_is_large_enough(opened: Opener, name: str) -> None:
    boxes: list[dict[str, Any]] = opened(PAGES[name], viewport=WINDOWS["phone"]).page.evaluate(
        """() => [...document.querySelectorAll('button, input, nav a, .ledger th a, .sites a, .weeks a')]
             .filter((each) => each.checkVisibility())
             .map((each) => ({text: each.textContent, ...each.getBoundingClientRect().toJSON()}))"""
    )
    small = [(box["text"], box["width"], box["height"]) for box in boxes
             if min(box["width"], box["height"]) < SMALLEST_TARGET]  # fmt: skip
    assert boxes
    assert small == []


def test_the_keyboard_reaches_the_content_first(opened: Opener) -> None:
    page = opened(PAGES["desk"]).page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/systems/lagoon")
    assert page.inner_text("h1").startswith("Lagoon")


def test_a_command_is_copied_by_keyboard(opened: Opener) -> None:
    seen = opened("/", permissions=["clipboard-read", "clipboard-write"])
    button = seen.page.get_by_role("button", name="Copy").first
    button.focus()
    seen.page.keyboard.press("Enter")
    seen.page.get_by_role("button", name="Copied").wait_for()
    copied = seen.page.evaluate("navigator.clipboard.readText()")
    assert copied == seen.page.locator("pre").first.text_content()
    assert copied.startswith("curl ")
    assert seen.complaints == []


def test_the_reference_is_narrowed_by_what_is_typed(opened: Opener) -> None:
    page = opened("/docs").page
    everything = page.locator(".operation:visible").count()
    page.get_by_label("Find").fill("withdrawal readings")
    page.get_by_text("entries hold this").wait_for()
    left = page.locator(".operation:visible")
    assert 0 < left.count() < everything / 4
    assert all("withdrawal" in text.lower() for text in left.all_inner_texts())
    page.get_by_label("Find").fill("")
    page.get_by_text("entries hold this").wait_for(state="detached")
    assert page.locator(".operation:visible").count() == everything


def test_signing_out_ends_the_session(opened: Opener, served: Served) -> None:
    seen = opened("/", cookie=signed_in(served.house))
    seen.page.get_by_role("button", name="Sign out").click()
    seen.page.get_by_role("heading", name="Sign in").wait_for()
    seen.page.goto(served.url + PAGES["desk"])
    assert seen.page.inner_text("h1") == "Sign in first"


@pytest.mark.parametrize("name", ["first", "desk", "course", "reference"])
def test_everything_can_be_read_without_scripts(opened: Opener, name: str) -> None:
    page = opened(PAGES[name], java_script_enabled=False).page
    assert page.locator("main h1").count() == 1
    assert page.get_by_role("button").count() == 0
    assert page.get_by_label("Find").count() == 0 or not page.get_by_label("Find").is_visible()


def test_marks_in_a_plot_stay_round_and_text_stays_readable_on_a_phone(opened: Opener) -> None:
    for window in WINDOWS.values():
        page = opened(PAGES["course"], viewport=window).page
        assert page.evaluate("getComputedStyle(document.querySelector('.plot-date')).fontSize") == "13px"
        aside = page.locator(".plot-mark").first.evaluate(
            "(mark) => mark.querySelector('path').getBoundingClientRect().toJSON()"
        )
        assert 7 <= aside["width"] <= 12


@pytest.mark.parametrize("width", [320, 390, 800, 1280])
def test_no_two_texts_of_a_plot_overlap(opened: Opener, width: int) -> None:
    page = opened(REPORT, viewport={"width": width, "height": 900}).page
    plots: list[list[dict[str, Any]]] = page.evaluate(
        """() => [...document.querySelectorAll('svg.plot')].map((plot) => [...plot.querySelectorAll('text')]
             .filter((each) => each.checkVisibility())
             .map((each) => ({text: each.textContent, ...each.getBoundingClientRect().toJSON()})))"""
    )
    assert len(plots) == 3
    assert any(re.fullmatch(r"\d+–\d+", box["text"]) for boxes in plots for box in boxes)
    overlapping = [
        (one["text"], other["text"])
        for boxes in plots
        for one, other in combinations(boxes, 2)
        if min(one["right"], other["right"]) - max(one["left"], other["left"]) > 0.5
        and min(one["bottom"], other["bottom"]) - max(one["top"], other["top"]) > 2.5  # a line's box has air above it
    ]
    assert overlapping == []


def test_the_report_prints_on_a4_with_its_table_heads_repeated(opened: Opener, tmp_path: Path) -> None:
    page = opened(REPORT).page
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.querySelector('.ledger thead')).display") == "table-header-group"
    assert page.evaluate("getComputedStyle(document.querySelector('.top')).display") == "none"
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    pdf = tmp_path / "report.pdf"
    page.pdf(path=str(pdf), prefer_css_page_size=True, print_background=True)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf.read_bytes())
    # A4 is 210 mm by 297 mm (ISO 216), a point 1/72 inch.
    assert {(round(float(width)), round(float(height))) for width, height in boxes} == {(595, 842)}
    assert 4 <= len(boxes) <= 7  # the ledger with what stands beside it, a system a page, the house


def test_a_person_signs_in_by_name_and_password_with_the_keyboard_alone(opened: Opener, served: Served) -> None:
    session = signed_in(served.house, "supervisor", name="Password Keeper")
    made = served.house.app.state.hasher.hash("three corals and a pump")
    with served.house.database.write() as work:
        found = work.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(session))).one()
        work.add(Password(person_id=found.person_id, hash=made, set_at=served.house.now))
    seen = opened("/sign-in", is_signed_in=False)
    seen.page.get_by_label("Name").focus()
    seen.page.keyboard.type("Password Keeper")
    seen.page.keyboard.press("Tab")
    seen.page.keyboard.type("three corals and a pump")
    seen.page.keyboard.press("Enter")
    seen.page.get_by_text("Signed in as Password Keeper").wait_for()
    assert seen.complaints == []
    seen.page.goto(served.url + "/account")
    seen.page.get_by_label("New PIN").fill("2904")
    seen.page.get_by_role("button", name="Set PIN").click()
    seen.page.get_by_label("The site's tag").fill(MEASURED)
    seen.page.get_by_label("A name for this device").fill("hall-tablet")
    seen.page.get_by_role("button", name="Share this device").click()
    seen.page.get_by_role("heading", name="Shared device hall-tablet").wait_for()
    for scheme in ("light", "dark"):
        seen.page.emulate_media(color_scheme=scheme)
        assert violations(seen.page) == []
    seen.page.set_viewport_size({"width": 320, "height": 800})
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= 320
    seen.page.get_by_label("Who are you?").select_option(label="Password Keeper")
    seen.page.get_by_label("PIN").fill("2904")
    seen.page.get_by_role("button", name="Sign in").click()
    seen.page.get_by_text("Signed in as Password Keeper").wait_for()
