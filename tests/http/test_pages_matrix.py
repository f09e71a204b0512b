"""Every page for people, asked by everybody: they stand outside the description of the API, not outside its rules."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from access.conversation import OWN_PAGE, cookie_of, talk
from fastapi.routing import APIRoute
from support.house import House

from service.storage.database import Database
from service.web.phone.routes import router as phone
from service.web.routes import router

OPEN = {"/", "/docs", "/favicon.ico", "/static/{shelf_name}/{name}", "/sw.js", "/app.webmanifest"}  # tell of no site
OF_A_SITE = {
    "/sites/{site_tag}",
    "/sites/{site_tag}/systems/{system_tag}",
    "/t/{code}",
    "/t/{code}/{procedure}",
    "/phone/runs/{run_id}",
    "/phone/labels/{site_tag}",
    "/phone/round/{site_tag}",
    "/phone/handover/{site_tag}",
}
OF_SOMEBODY = {"/phone", "/phone/waiting"}  # for whoever is signed in: what is theirs to see


@pytest.fixture
def house(database: Database) -> House:
    """A service of a test's own: its sites are named alike in each."""
    return House(database)


class Visit:
    """Two sites, a system on the first, and a browser each for a reader of either."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.home = house.a_site(tag="home-of-corals", name="The Reefhouse")
        self.elsewhere = house.a_site(tag="elsewhere", name="The other house")
        self.system = house.a_system(self.home, tag="home-loop")
        begun = {
            "procedure": "low_ph_cut_off_test",
            "subject_id": self.system["id"],
            "started_at": house.now.isoformat(),
        }
        self.run = house.call("PUT", f"/v1/commissionings/{uuid4()}", begun)
        self.insider, self.outsider = self._browser(self.home), self._browser(self.elsewhere)

    def _browser(self, site: dict[str, Any]) -> dict[str, str]:
        content = {"name": f"Reader of {site['tag']}", "role": "reader", "site_id": site["id"]}
        person = self.house.call("POST", "/v1/people", content)
        link = self.house.call("POST", f"/v1/people/{person['id']}/sign-in-links")
        name, value, _ = cookie_of(self.house.send("POST", link["path"], token=None, headers=OWN_PAGE))
        return {"Cookie": f"{name}={value}", "Accept": "text/html"}

    def see(self, template: str, headers: dict[str, str] | None = None) -> Any:
        """The response to opening a page about home."""
        path = template.format(
            site_tag=self.home["tag"], system_tag=self.system["tag"], code=self.system["label_code"],
            procedure=self.run["procedure"], run_id=self.run["id"])  # fmt: skip
        return talk(self.house.app, "GET", path, headers=headers or {"Accept": "text/html"})


@pytest.fixture
def visit(house: House) -> Visit:
    """A visit to the pages."""
    return Visit(house)


def test_every_page_is_known_here() -> None:
    routes = [route for route in (*router.routes, *phone.routes) if isinstance(route, APIRoute)]
    known = OPEN | OF_A_SITE | OF_SOMEBODY
    assert {route.path for route in routes} == known, "a page without a line here is a page nobody tried to enter"
    assert all(route.methods == {"GET"} for route in routes)


@pytest.mark.parametrize("template", sorted(OF_A_SITE))
def test_a_page_of_a_site_is_for_its_people(visit: Visit, template: str) -> None:
    assert visit.see(template, visit.insider).status_code == 200
    assert visit.see(template).status_code == 401
    assert visit.see(template, {"Cookie": "ooid_session=unknown", "Accept": "text/html"}).status_code == 401
    outside = visit.see(template, visit.outsider)
    assert outside.status_code == 404
    assert visit.home["name"] not in outside.text
    visit.house.call("DELETE", "/v1/sessions/current", token=None, headers={**visit.insider, **OWN_PAGE}, status=204)
    assert visit.see(template, visit.insider).status_code == 401


@pytest.mark.parametrize("template", sorted(OF_SOMEBODY))
def test_a_page_of_somebody_tells_only_of_their_sites(visit: Visit, template: str) -> None:
    assert visit.see(template).status_code == 401
    for headers, is_theirs in ((visit.insider, True), (visit.outsider, False)):
        page = visit.see(template, headers)
        assert page.status_code == 200
        assert (visit.home["name"] in page.text) is (is_theirs and template == "/phone")
        assert visit.system["label_code"] not in page.text or is_theirs


@pytest.mark.parametrize("template", ["/", "/docs"])
def test_an_open_page_tells_nothing_of_a_site_to_others(visit: Visit, template: str) -> None:
    for headers in (None, visit.outsider):
        page = visit.see(template, headers)
        assert page.status_code == 200
        for mark in (visit.home["tag"], visit.home["name"], visit.home["id"]):
            assert mark not in page.text
    assert (visit.home["tag"] in visit.see(template, visit.insider).text) is (template == "/")


@pytest.mark.parametrize(
    "name", ["../settings.py", "..%2f..%2fsettings.py", "%2e%2e/%2e%2e/main.py", "/etc/passwd", "x"]
)
def test_files_beside_the_static_ones_are_not_served(visit: Visit, name: str) -> None:
    for shelf in ("desk", "paper", "modules", "x", ".."):
        assert visit.see(f"/static/{shelf}/{name}").status_code in (401, 404)


def test_no_page_runs_or_carries_anything_inline(visit: Visit) -> None:
    for template in (*OF_A_SITE, *OF_SOMEBODY, "/", "/docs"):
        page = visit.see(template, visit.insider)
        policy = page.headers["content-security-policy"]
        assert "unsafe" not in policy
        for inline in (" onclick=", " onload=", "javascript:", "<script>"):
            assert inline not in page.text
        if "style-src" not in policy:
            assert "<style" not in page.text
            assert " style=" not in page.text
