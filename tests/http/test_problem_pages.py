"""The `type` of every problem leads to a page that says what it means and what to do (RFC 9457 section 4)."""

from __future__ import annotations

import pytest
from access.conversation import talk
from support.house import House

from service.http.problem_pages import EXPLANATIONS
from service.http.problems import EVERY_KIND


def test_every_kind_of_problem_is_explained_and_nothing_else() -> None:
    assert {kind.slug for kind in EVERY_KIND} == EXPLANATIONS.keys()


@pytest.mark.parametrize("slug", sorted(EXPLANATIONS))
def test_a_script_gets_json_and_a_browser_a_page(house: House, slug: str) -> None:
    kind = next(kind for kind in EVERY_KIND if kind.slug == slug)
    told = house.call("GET", f"/problems/{slug}")
    assert told == {"slug": slug, "title": kind.title, "status": kind.status, "meaning": EXPLANATIONS[slug]}
    page = house.send("GET", f"/problems/{slug}", headers={"Accept": "text/html,*/*"})
    assert f"<h1>{kind.title}</h1>" in page.text
    assert "<script" not in page.text
    assert "style=" not in page.text


def test_the_style_sheet_of_the_pages_is_there(house: House) -> None:
    page = talk(house.app, "GET", "/problems/stale", headers={"Accept": "text/html"}).text
    path = page.partition('rel="stylesheet" href="')[2].partition('"')[0]
    sheet = house.send("GET", path, token=None)
    assert (sheet.status_code, sheet.headers["content-type"]) == (200, "text/css; charset=utf-8")
