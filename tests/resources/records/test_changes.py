"""The change feed: everything since a place, in the order of commits, nothing skipped wherever a page ends."""

from __future__ import annotations

import importlib.util
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest
from support.house import House

MIRROR = Path(__file__).parents[3] / "openapi" / "examples" / "mirror.py"


def walked(house: House, site: str, *, limit: int, after: str = "0", **options: Any) -> list[dict[str, Any]]:
    """Every change since a place, page by page."""
    found: list[dict[str, Any]] = []
    while True:
        path = f"/v1/changes?site={site}&after={after}&limit={limit}"
        page = house.call("GET", path, **options)
        if not page["changes"]:
            assert page["next_after"] == after
            return found
        assert len(page["changes"]) <= limit
        found += page["changes"]
        after = page["next_after"]


def a_batch(house: House, subject: str, count: int) -> None:
    """Some readings in one entry of the trail."""
    items = [
        {
            "id": str(uuid4()),
            "subject_id": subject,
            "quantity": "alkalinity",
            "value": 8,
            "unit": "dKH",
            "taken_at": (house.now - timedelta(minutes=index)).isoformat(),
        }
        for index in range(count)
    ]
    house.call("POST", "/v1/readings/batch", {"items": items})


def test_everything_comes_in_the_order_of_commits(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    keeper = house.token("keeper", site=site["id"])
    reading = house.a_reading(system, 8.0)
    path = f"/v1/readings/{reading['id']}"
    house.call("POST", f"{path}/corrections", {"value": 8.2, "reason": "x"}, headers={"If-Match": '"1"'})
    house.call("POST", f"{path}/withdrawal", {"reason": "y"}, headers={"If-Match": '"2"'})
    found = walked(house, site["tag"], limit=1000, token=keeper)
    assert [(change["kind"], change["action"]) for change in found] == [
        ("set_point", "recorded"),
        ("set_point", "recorded"),
        ("system", "described"),
        ("reading", "recorded"),
        ("reading", "corrected"),
        ("reading", "withdrawn"),
    ]
    assert [change["seq"] for change in found] == [1, 2, 3, 4, 5, 6]
    assert [change["version"] for change in found[3:]] == [1, 2, 3]
    assert found[3]["body"] == house.call("GET", path)  # what it is now, not what it was then
    assert all(change["site"] == site["id"] for change in found)


@pytest.mark.parametrize("limit", [1, 3, 7, 1000])
def test_a_page_may_end_within_a_batch(house: House, limit: int) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    a_batch(house, system, 8)
    house.a_reading(system)
    a_batch(house, system, 5)
    found = walked(house, site["id"], limit=limit)
    places = [(change["seq"], change["position"]) for change in found]
    assert places == sorted(set(places))
    readings = {reading["id"] for reading in house.call("GET", f"/v1/readings?site={site['id']}")}
    assert {change["id"] for change in found if change["kind"] == "reading"} == readings
    assert len(readings) == 14


def test_a_bare_seq_means_all_of_that_entry(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    a_batch(house, system, 3)
    last = walked(house, site["id"], limit=1000)[-1]["seq"]
    house.a_reading(system)
    assert [change["seq"] for change in walked(house, site["id"], limit=10, after=str(last))] == [last + 1]
    assert len(walked(house, site["id"], limit=10, after=f"{last}.0")) == 3


def test_what_was_measured_long_ago_and_sent_late_is_not_missed(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    house.a_reading(system)
    house.pass_time(days=3)
    after = house.call("GET", f"/v1/changes?site={site['id']}&limit=1000")["next_after"]
    late = house.a_reading(system, taken_at=(house.now - timedelta(days=30)).isoformat())
    found = walked(house, site["id"], limit=1, after=after)
    assert [(change["id"], change["at"]) for change in found] == [(late["id"], late["recorded_at"])]


def test_the_installation_has_a_feed_of_its_own(house: House) -> None:
    site = house.a_site()
    found = walked(house, "installation", limit=2)
    assert [(change["kind"], change["site"], change["body"]["tag"]) for change in found] == [
        ("site", None, site["tag"])
    ]
    for role in ("reader", "administrator"):
        house.call("GET", "/v1/changes?site=installation", token=house.token(role, site=site["id"]), status=403)
    house.call("GET", "/v1/changes?site=installation", token=house.token("reader"), status=200)


def test_roles_and_tokens_are_told_to_administrators_only(house: House) -> None:
    site = house.a_site()
    person = {"name": "Somebody", "role": "keeper", "site_id": site["id"]}
    house.call("POST", "/v1/people", person)
    grants = [change for change in walked(house, site["id"], limit=9) if change["kind"] == "grant"]
    assert [grant["body"]["role"] for grant in grants] == ["keeper"]
    supervisor = house.token("supervisor", site=site["id"])
    grants = [change for change in walked(house, site["id"], limit=9, token=supervisor) if change["kind"] == "grant"]
    assert [grant["body"] for grant in grants] == [None]


def test_bad_requests_are_named(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    stranger = house.token("supervisor", site=other["id"])
    house.call("GET", f"/v1/changes?site={site['id']}", token=stranger, status=404)
    house.call("GET", f"/v1/changes?site={site['tag']}", token=stranger, status=404)
    house.call("GET", f"/v1/changes?site={uuid4()}", status=404)
    house.call("GET", "/v1/changes", status=422)
    house.call("GET", f"/v1/changes?site={site['id']}", token=house.token("keeper", scopes=["record"]), status=403)
    for after in ("x", "-1", "1.", "1.2.3", "1e3", "9999999999", "%00"):
        problem = house.call("GET", f"/v1/changes?site={site['id']}&after={after}", status=400)
        assert problem["errors"][0]["pointer"] == "after"
    for limit in (0, 1001, "many"):
        house.call("GET", f"/v1/changes?site={site['id']}&limit={limit}", status=422)


class Service:
    """What the mirroring script talks to: this house, by httpx's words."""

    def __init__(self, house: House) -> None:
        self._house = house

    def get(self, path: str, *, params: dict[str, Any]) -> httpx.Response:
        """A response of the house."""
        return self._house.send("GET", path, params=params)


def test_the_mirroring_script_ends_with_what_the_service_has(house: House) -> None:
    spec = importlib.util.spec_from_file_location("mirror", MIRROR)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    site = house.a_site()
    system = house.a_system(site)["id"]
    copy: dict[str, Any] = {"after": "0", "things": {}}
    for _ in range(2):
        a_batch(house, system, 4)
        reading = house.a_reading(system)
        house.call("POST", f"/v1/readings/{reading['id']}/withdrawal", {"reason": "x"}, headers={"If-Match": '"1"'})
        script.mirror(Service(house), site["tag"], copy)
        held = {reading["id"]: reading for reading in house.call("GET", "/v1/readings?withdrawn=true")}
        assert {key: body for key, body in copy["things"].items() if key in held} == held
