"""The weekly report on paper says what its page says: every text of the page, its figures, its plots, in order."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Any

import pytest
from support.house import House
from support.pdf import Page, letters, pages_of
from web.a_report import HOSTILE, a_report
from web.parsed import parsed

from service.reports.page import render_html
from service.reports.printed import drawings
from service.reports.printed.flow import title_and_flow
from service.reports.printed.weekly import weekly_pages
from service.storage.database import Database

AT = datetime(2026, 11, 28, 11, 21, tzinfo=UTC)
FOOT = re.compile(r"The Reefhouse, 2026-W47, made 28.November 2026, 12:21\s+(\d+) of (\d+)")
TEAL = (15, 90, 99)  # --link of the style sheet in print


def printed(report: dict[str, Any] | None = None, paper: str = "a4") -> list[Page]:
    """The pages of a report."""
    return pages_of(weekly_pages(report or a_report(), at=AT, paper=paper), dots_an_inch=72)


def said_on_page(html: str) -> list[str]:
    """Every text that the web page shows on paper, in order, drawings apart."""

    def texts(nodes: list[Any]) -> list[str]:
        return [text for each in nodes for text in ([each] if isinstance(each, str) else texts(each.get("of", [])))]

    return texts(title_and_flow(html, "")[1])


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_everything_the_page_says_is_on_paper(paper: str) -> None:
    text = letters("".join(page.text for page in printed(paper=paper)))
    # The page is read by another parser than the one under test; what only phones show is left out.
    page = parsed(render_html(a_report())).one("main")
    unseen = [each.text for name in ("heads", "in-passing") for each in page.every("span", class_=name)]
    assert unseen
    for tag in ("h1", "h2", "h3", "p", "li", "strong", "caption", "th"):
        for element in page.every(tag):
            if not element.every("svg") and not element.every("span"):
                assert letters(element.text) in text, element.text
    for name in ("figure", "between", "target", "unit", "aside", "todo", "lacks", "tag", "unknown", "kind", "key"):
        for element in page.every("span", class_=name):
            assert letters(element.text) in text, element.text
    for each in ("Lagoon", "Nursery", "Quarantine", HOSTILE):
        assert letters(each) in text


def test_no_space_is_lost_or_made_between_words() -> None:
    html = render_html(a_report(), field_width=100)
    shown = " ".join("".join(said_on_page(html)).split())
    assert "Steady. Now at its target." in shown
    assert "0.71 dKH/d" in shown
    assert "  " not in "".join(said_on_page(html))


def test_the_site_comes_first_then_a_page_a_system() -> None:
    pages = printed()
    opens = [number for number, page in enumerate(pages) if page.text.lstrip().startswith(("Lagoon", "Nursery"))]
    assert len(opens) == 2
    assert opens[0] > 0
    assert "9.4 standard deviations" in pages[opens[0]].text.replace("\r\n", " ")
    assert "The week of" in pages[0].text


def test_each_page_says_site_week_number_and_when_it_was_made() -> None:
    pages = printed()
    feet = [FOOT.search(page.text.replace("\r\n", " ")) for page in pages]
    assert all(feet), [page.text[-80:] for page in pages]
    numbers = [(int(foot[1]), int(foot[2])) for foot in feet if foot is not None]
    assert numbers == [(number, len(pages)) for number in range(1, len(pages) + 1)]


def drawn(page: Page) -> int:
    """How many dots of a page have the colour of a course."""
    found = page.picture.convert("RGB").getcolors(1 << 20) or []
    return sum(count for count, colour in found if all(abs(a - b) < 40 for a, b in zip(colour, TEAL, strict=True)))


def test_a_systems_page_has_its_course_and_scale() -> None:
    page = next(each for each in printed() if each.text.lstrip().startswith("Lagoon"))
    assert drawn(page) > 300
    assert "14 Nov" in page.text.replace("\N{NO-BREAK SPACE}", " ") or "Nov" in page.text
    report = a_report()
    for line in report["lines"]:
        line["course"] = {**line["course"], **{name: [] for name in ("at", "value", "low", "high")}}
    bare = next(each for each in printed(report) if each.text.lstrip().startswith("Lagoon"))
    assert drawn(bare) < 300


def test_drawings_have_every_colour_of_print() -> None:
    styles = drawings.drawing_styles()
    assert "var(" not in styles
    assert "#0f5a63" in styles
    assert ".plot-course" in styles


def test_an_element_left_open_is_no_page() -> None:
    with pytest.raises(ValueError, match="closes"):
        title_and_flow("<main><p>a</main>", "")


def test_pages_come_by_format_and_by_accept_for_their_site_only(database: Database) -> None:
    house = House(database)
    site, other = house.a_site(name="The Reefhouse"), house.a_site(name="Elsewhere")
    system = house.a_system(site, name="Lagoon #1 $x$")
    house.a_system(other, name="Somebody else's water")
    for back in range(10):
        house.a_reading(system["id"], 8.0 + back / 100)
        house.pass_time(days=1)
    path = f"/v1/reports/weekly?site={site['tag']}"
    answer = house.send("GET", f"{path}&format=pdf&paper=letter")
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    pages = pages_of(answer.content)
    text = letters("".join(page.text for page in pages))
    report = house.call("GET", path)
    for sentence in report["headline"]:
        assert letters(sentence) in text
    assert letters("Lagoon #1 $x$") in text
    assert letters("Somebody else's water") not in text
    assert "Elsewhere" not in text
    assert round(pages[0].width, 1) == 215.9
    assert house.send("GET", path, headers={"Accept": "application/pdf"}).content[:5] == b"%PDF-"
    tag = {"If-None-Match": answer.headers["ETag"]}
    assert house.send("GET", f"{path}&format=pdf&paper=letter", headers=tag).status_code == 304
    reader = house.token("reader", site=other["id"])
    house.call("GET", f"{path}&format=pdf", token=reader, status=404)
    house.call("GET", f"{path}&format=pdf&paper=a5", status=422)
