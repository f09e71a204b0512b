"""What a browser gets: the first page, ledgers and courses from real records, refusals as pages, lasting files."""

from __future__ import annotations

import re

import pytest
from support.house import House
from web.a_report import HOSTILE
from web.parsed import assert_harmless, parsed
from web.visitor import look, signed_in

from service.web.pages import DESK, SIGN_IN_FIRST


def a_house_with_readings(house: House, *, name: str = "Lagoon") -> dict[str, str]:
    """A new site with one system `lagoon`, tested on the twelve days before now; their ids and the site's address."""
    site = house.a_site(name="The Reefhouse")
    system = house.a_system(
        site,
        tag="lagoon",
        name=name,
        targets={"alkalinity": {"value": 8.2, "unit": "dKH"}},
        **{"from": "2026-01-01T00:00:00Z"},
    )
    for day in range(12):
        house.a_reading(system["id"], 8.2 - 0.05 * day)
        house.pass_time(days=1)
    return {"site": site["id"], "system": system["id"], "address": f"/sites/{site['tag']}"}


class TestFirstPage:
    def test_a_stranger_reads_what_this_is_and_how_to_sign_in(self, house: House) -> None:
        house.a_site(name="The Reefhouse")
        response = look(house, "/")
        page = parsed(response.text)
        assert response.status_code == 200
        assert "stony-coral" in page.text
        assert "ooid demo" in page.text
        assert "ooid person add" in page.text
        assert "The Reefhouse" not in page.text

    def test_a_person_sees_their_sites_with_their_week_and_no_other(self, house: House) -> None:
        mine = house.a_site(tag="mine", name=HOSTILE)
        house.a_site(tag="theirs", name="Not for everybody")
        response = look(house, "/", signed_in(house, site=mine["id"], name=HOSTILE))
        page = parsed(response.text)
        assert_harmless(page)
        assert page.text.count(HOSTILE) == 2
        assert "theirs" not in response.text
        links = {each.attributes["href"] for each in page.every("a")}
        # 2 March 2026 is in week 10 (ISO 8601).
        assert {"/sites/mine", "/v1/reports/weekly?site=mine&week=2026-W10&format=html", "/docs"} <= links

    def test_its_calls_are_of_operations_that_exist(self, house: House) -> None:
        calls = [each.text for each in parsed(look(house, "/").text).every("pre") if each.text.startswith("curl")]
        paths = [re.search(r"http://ooid\.test(/[^ ?]*)", call) for call in calls]
        assert len(calls) == 3
        for call, found in zip(calls, paths, strict=True):
            assert found is not None
            template = house.document.template_of(found[1].strip('"'))
            assert template is not None, call
            method = "put" if "-X PUT" in call else "get"
            assert method in house.document.openapi["paths"][template]

    def test_it_is_not_kept_by_the_browser(self, house: House) -> None:
        assert look(house, "/", signed_in(house)).headers["cache-control"] == "no-store"


class TestDesk:
    def test_the_ledger_tells_level_target_and_heading_from_the_records(self, house: House) -> None:
        address = a_house_with_readings(house)["address"]
        page = parsed(look(house, address, signed_in(house)).text)
        assert_harmless(page)
        line = page.one("table", class_="ledger").one("tbody").one("tr")
        assert line.one("a").attributes["href"] == f"{address}/systems/lagoon"
        assert "target 2.925 meq/L" in line.text  # 8.2 dKH: 10 mg CaO (56.077 g/mol, two charges) a litre each
        report = house.call("GET", f"/v1/reports/weekly?site={address.removeprefix('/sites/')}")
        assert report["lines"][0]["words"] in line.text
        assert f"{report['lines'][0]['level']['value']:.1f}" in line.text

    def test_a_course_has_a_plot_and_the_same_readings_as_a_table(self, house: House) -> None:
        address = a_house_with_readings(house)["address"]
        page = parsed(look(house, f"{address}/systems/lagoon", signed_in(house)).text)
        assert_harmless(page)
        assert page.one("svg", class_="plot").one("path", class_="plot-course").attributes["d"]
        rows = page.one("table", class_="readings").one("tbody").every("tr")
        assert len(rows) == 12
        newest, oldest = rows[0].text, rows[-1].text
        assert "Fri 13 Mar 13:00" in newest.replace("\N{NO-BREAK SPACE}", " ")
        assert "Mon 2 Mar 13:00" in oldest.replace("\N{NO-BREAK SPACE}", " ")

    def test_a_name_of_markup_stays_text(self, house: House) -> None:
        address = a_house_with_readings(house, name=HOSTILE)["address"]
        cookie = signed_in(house)
        for path in (address, f"{address}/systems/lagoon"):
            html = look(house, path, cookie).text
            assert_harmless(parsed(html))
            assert "<svg onload" not in html
            assert HOSTILE in parsed(html).text

    def test_a_system_without_any_reading_has_its_pages(self, house: House) -> None:
        site = house.a_site(tag="new")
        house.a_system(site, tag="empty", name="Empty")
        cookie = signed_in(house)
        assert "not known yet" in parsed(look(house, "/sites/new", cookie).text).text
        assert "None yet." in parsed(look(house, "/sites/new/systems/empty", cookie).text).text

    def test_a_browser_that_asks_again_is_told_nothing_changed_until_something_does(self, house: House) -> None:
        ids = a_house_with_readings(house)
        cookie = signed_in(house)
        first = look(house, ids["address"], cookie)
        assert first.headers["cache-control"] == "private, no-cache"
        again = look(house, ids["address"], cookie, If_None_Match=first.headers["etag"])
        assert (again.status_code, again.text) == (304, "")
        house.a_reading(ids["system"], 7.9)
        changed = look(house, ids["address"], cookie, If_None_Match=first.headers["etag"])
        assert changed.status_code == 200

    def test_another_person_is_not_told_so_by_the_first_ones_tag(self, house: House) -> None:
        address = a_house_with_readings(house)["address"]
        tag = look(house, address, signed_in(house)).headers["etag"]
        assert look(house, address, signed_in(house), If_None_Match=tag).status_code == 200


class TestRefusals:
    @pytest.mark.parametrize("path", ["", "/systems/lagoon"])
    @pytest.mark.parametrize("cookie", [None, "made-up"])
    def test_a_stranger_is_told_to_sign_in(self, house: House, path: str, cookie: str | None) -> None:
        site = house.a_site(name="The Reefhouse")
        response = look(house, f"/sites/{site['tag']}{path}", cookie)
        page = parsed(response.text)
        assert response.status_code == 401
        assert response.headers["www-authenticate"]
        assert "The Reefhouse" not in page.text
        assert (SIGN_IN_FIRST in page.text) == (cookie is None)

    def test_another_site_is_not_there(self, house: House) -> None:
        other, mine = house.a_site(), house.a_site()
        cookie = signed_in(house, site=mine["id"])
        theirs, nowhere = look(house, f"/sites/{other['tag']}", cookie), look(house, "/sites/nowhere", cookie)
        assert (theirs.status_code, nowhere.status_code) == (404, 404)
        assert theirs.text == nowhere.text

    def test_an_unknown_system_is_not_there(self, house: House) -> None:
        site = house.a_site()
        assert look(house, f"/sites/{site['tag']}/systems/none", signed_in(house)).status_code == 404

    @pytest.mark.parametrize("path", ["/", "/sites/anything"])
    def test_a_person_whose_role_was_taken_away_is_told_whom_to_ask(self, house: House, path: str) -> None:
        response = look(house, path, signed_in(house, role=None))
        assert response.status_code == 403
        assert "Ask an administrator" in parsed(response.text).text

    def test_a_session_that_has_run_out_opens_nothing(self, house: House) -> None:
        site = house.a_site()
        cookie = signed_in(house, role="reader", site=site["id"])
        assert look(house, f"/sites/{site['tag']}", cookie).status_code == 200
        house.pass_time(days=15)
        assert look(house, f"/sites/{site['tag']}", cookie).status_code == 401


class TestFiles:
    @pytest.mark.parametrize("path", ["/", "/docs"])
    def test_every_file_a_page_names_is_there_and_kept_for_ever(self, house: House, path: str) -> None:
        page = parsed(look(house, path).text)
        named = [
            each.attributes.get("src") or each.attributes["href"]
            for each in page.every()
            if each.tag in ("script", "link")
        ]
        assert len(named) >= 4
        for address in named:
            response = look(house, address)
            assert response.status_code == 200
            assert "immutable" in response.headers["cache-control"]
            kind = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}[address.rpartition(".")[2]]
            assert response.headers["content-type"].startswith(kind)
            assert response.headers["x-content-type-options"] == "nosniff"

    @pytest.mark.parametrize(
        "address",
        [
            "/static/desk-0000000000000000/desk.css",
            f"/static/{DESK.name}/none.css",
            f"/static/{DESK.name}/..%2Froutes.py",
            f"/static/{DESK.name}/%2e%2e/pages.py",
        ],
    )
    def test_nothing_else_is_served(self, house: House, address: str) -> None:
        assert look(house, address).status_code == 404

    def test_the_address_changes_with_the_content(self, tmp_path) -> None:  # type: ignore[no-untyped-def]
        from service.reports.shelf import Shelf

        (tmp_path / "a.css").write_text("a {}")
        before = Shelf(tmp_path).url("a.css")
        assert Shelf(tmp_path).url("a.css") == before
        (tmp_path / "a.css").write_text("b {}")
        assert Shelf(tmp_path).url("a.css") != before
        with pytest.raises(KeyError):
            Shelf(tmp_path).url("missing.css")

    def test_the_icon_that_browsers_ask_for_is_found(self, house: House) -> None:
        response = look(house, "/favicon.ico")
        assert look(house, response.headers["location"]).headers["content-type"] == "image/svg+xml"


def test_pages_carry_the_security_headers(house: House) -> None:
    policy = look(house, "/").headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy


def test_a_browser_that_follows_a_link_to_the_report_is_refused_in_words(house: House) -> None:
    house.a_site(tag="hall")
    report = "/v1/reports/weekly?site=hall&format=html"
    signed_out = look(house, report)
    assert (signed_out.status_code, signed_out.headers["content-type"]) == (401, "text/html; charset=utf-8")
    assert "/sign-in" in signed_out.text
    assert "www-authenticate" in signed_out.headers
    elsewhere = look(house, "/v1/reports/weekly?site=%3Cb%3E&format=html", signed_in(house))
    assert (elsewhere.status_code, "There is no site with this tag or id." in elsewhere.text) == (404, True)


@pytest.mark.parametrize("accept", ["*/*", "application/json", "application/json, text/html"])
def test_a_script_gets_the_document(house: House, accept: str) -> None:
    answer = look(house, "/v1/reports/weekly?site=hall&format=html", Accept=accept)
    assert (answer.status_code, answer.headers["content-type"]) == (401, "application/problem+json")
