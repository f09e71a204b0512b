"""Sheets of labels (PDF): every symbol is read back from the drawn page, in the place where its label is cut."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
import zxingcpp
from support.house import START, House
from support.pdf import Page, letters, pages_of
from web.visitor import look, signed_in

from service.reports.printed.setting import set_pages
from service.web.phone.label_sheets import EDGE, PAPERS, SHEETS, Sheet
from service.web.phone.labels import for_print, labels
from service.web.phone.places import Place
from service.web.phone.words import spoken

BASE = "https://records.reefhouse.example:8443"
EVERY = [sheet for offered in SHEETS.values() for sheet in offered]
HOSTILE = [
    '#panic("x")',
    '$a$ \\ "b" *c*',
    "one\ntwo",
    "שלום נחל",
    "Quarantäne 25 °C, 3 m², µ",
    "</text><b>&amp;",
    "Lagoon",
]
KINDS = ("system", "tank", "calcium_reactor", "co2_cylinder")


def some(names: list[str]) -> list[Place]:
    """Places with these names."""
    return [
        Place(uuid4(), f"{number:02}23456789", KINDS[number % len(KINDS)], f"place-{number}", name)
        for number, name in enumerate(names)
    ]


def printed(places: list[Place], sheet: Sheet, *, skip: int = 0) -> bytes:
    """The sheets of labels of these places."""
    content = for_print(labels(places, BASE), sheet, title="Labels", skip=skip, words=spoken("en", None))
    return set_pages("labels.typ", content, at=START)


def spots(sheet: Sheet) -> Iterator[tuple[float, float]]:
    """The upper left corner of each label of a page, in reading order (mm)."""
    for row in range(sheet.rows):
        for column in range(sheet.columns):
            yield sheet.left + column * (sheet.width + sheet.between), sheet.top + row * sheet.height


def read(page: Page, sheet: Sheet) -> list[str | None]:
    """What a camera reads on each label of a page once they are cut apart; None where there is nothing."""
    scale = page.picture.width / page.width
    found: list[str | None] = []
    for left, top in spots(sheet):
        box = tuple(round(edge * scale) for edge in (left, top, left + sheet.width, top + sheet.height))
        symbols = zxingcpp.read_barcodes(page.picture.crop(box))  # type: ignore[arg-type]
        assert len(symbols) <= 1, "a label shows a part of its neighbour"
        found.append(symbols[0].text if symbols else None)
    return found


@pytest.mark.parametrize("sheet", EVERY, ids=lambda sheet: f"{sheet.paper}-{sheet.code}")
def test_every_symbol_is_read_where_its_label_is(sheet: Sheet) -> None:
    places = some([f"{name} {number}" for number, name in enumerate((HOSTILE * 6)[: sheet.labels])])
    pages = pages_of(printed(places, sheet, skip=2))
    assert [(round(page.width, 1), round(page.height, 1)) for page in pages] == [PAPERS[sheet.paper]] * 2
    expected = [None, None, *(BASE + place.path for place in places)]
    expected += [None] * (2 * sheet.labels - len(expected))
    assert [*read(pages[0], sheet), *read(pages[1], sheet)] == expected


@pytest.mark.parametrize("sheet", EVERY, ids=lambda sheet: f"{sheet.paper}-{sheet.code}")
def test_a_label_says_what_it_is_on(sheet: Sheet) -> None:
    places = some(HOSTILE)
    page = pages_of(printed(places, sheet))[0]
    for place, (left, top) in zip(places, spots(sheet), strict=False):
        said = letters(page.within(left, top, sheet.width, sheet.height))
        kind = letters(
            {"calcium_reactor": "calcium reactor", "co2_cylinder": "CO2 cylinder"}.get(place.kind, place.kind)
        )
        assert place.code in said
        assert f"{kind},{place.tag}" in said
        assert sorted(said) == sorted(letters(place.name) + f"{kind},{place.tag}{place.code}"), "more or less than that"


def test_a_name_too_long_is_cut_with_a_sign_and_its_code_is_whole() -> None:
    sheet = SHEETS["a4"][0]
    place = some(["x" * 200])[0]
    page = pages_of(printed([place], sheet))[0]
    left, top = next(spots(sheet))
    said = letters(page.within(left, top, sheet.width, sheet.height))
    assert "x…" in said
    assert place.code in said
    assert read(page, sheet)[0] == BASE + place.path


@pytest.mark.parametrize("sheet", EVERY, ids=lambda sheet: f"{sheet.paper}-{sheet.code}")
def test_labels_lie_on_their_paper(sheet: Sheet) -> None:
    across, down = PAPERS[sheet.paper]
    least = EDGE if sheet.to_cut else 0.0
    assert sheet.left >= least
    assert sheet.top >= least
    *_, (left, top) = spots(sheet)
    assert left + sheet.width == pytest.approx(across - sheet.left)
    assert top + sheet.height == pytest.approx(down - sheet.top)


def test_only_paper_that_is_to_be_cut_has_lines() -> None:
    for sheet in EVERY:
        page = pages_of(printed(some(["Lagoon"]), sheet, skip=1))[0]
        scale = page.picture.width / page.width
        corner = page.picture.crop((0, 0, round((sheet.left + sheet.width) * scale), round((sheet.top + 2) * scale)))
        assert (corner.convert("L").getextrema()[0] < 200) is sheet.to_cut


def test_sizes_are_named_once_for_each_paper() -> None:
    for offered in SHEETS.values():
        assert len({sheet.code for sheet in offered}) == len(offered)


class Labelled:
    """A site with a system, and what a browser gets of its sheets."""

    def __init__(self, house: House, tag: str, name: str) -> None:
        self.house = house
        self.site = house.a_site(tag=tag, name=name)
        self.system: dict[str, Any] = house.a_system(self.site, tag=f"{tag}-loop", name=f"Water of {name}")

    def get(self, query: str = "format=pdf", **headers: str) -> Any:
        """The answer to asking for labels."""
        return look(self.house, f"/phone/labels/{self.site['tag']}?{query}", signed_in(self.house), **headers)


def test_sheets_come_by_format_and_by_accept(house: House) -> None:
    here, there = Labelled(house, "sheets", "The Reefhouse"), Labelled(house, "sheets-b", "The other house")
    for answer in (here.get(), here.get("", Accept="application/pdf")):
        assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
        assert answer.headers["content-disposition"] == "inline; filename*=UTF-8''labels-sheets.pdf"
        page = pages_of(answer.content)[0]
        assert letters(here.system["name"]) in letters(page.text)
        assert here.system["label_code"] in page.text
        assert there.system["label_code"] not in page.text
        assert "other house" not in page.text
        found = zxingcpp.read_barcodes(page.picture)
        assert [symbol.text for symbol in found] == [f"http://ooid.test/t/{here.system['label_code']}"]
    assert here.get("").headers["content-type"].startswith("text/html")
    assert here.get("format=html", Accept="application/pdf").headers["content-type"].startswith("text/html")
    assert here.get("", Accept="image/png").status_code == 406


def test_sheets_speak_the_readers_language(house: House) -> None:
    here = Labelled(house, "bogen", "Riffhaus")
    page = pages_of(here.get(Accept_Language="de").content)[0]
    assert "System" in page.text


@pytest.mark.parametrize(
    ("query", "named"),
    [
        ("paper=a5", "paper=a4 or letter"),
        ("paper=letter&label=70x37", "66.7x25.4"),
        ("label=huge", "65x40"),
        ("label=%23panic", "65x40"),
    ],
)
def test_an_unknown_paper_or_size_is_refused_with_those_there_are(house: House, query: str, named: str) -> None:
    here = Labelled(house, "refused-" + str(abs(hash(query)) % 10_000), "The Reefhouse")
    answer = here.get(f"format=pdf&{query}")
    assert answer.status_code == 422
    assert named in answer.text


def test_the_page_offers_every_size(house: House) -> None:
    page = Labelled(house, "offered", "The Reefhouse").get("").text
    for sheet in EVERY:
        assert f'value="{sheet.code}"' in page
    assert page.count('name="format" value="pdf"') == len(SHEETS)


def test_nothing_to_label_is_said(house: House) -> None:
    house.a_site(tag="bare", name="Bare")
    answer = look(house, "/phone/labels/bare?format=pdf", signed_in(house))
    assert answer.status_code == 404
    assert "bears a label yet" in answer.text
