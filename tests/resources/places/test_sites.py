"""Sites: one clock each, described by whoever administers the installation."""

from __future__ import annotations

from uuid import UUID, uuid4

from resources.equipment.yard import Yard, told
from sqlmodel import select

from service.storage.trail import Event


def test_a_site_gets_a_tag_from_its_name_unless_it_has_one(yard: Yard) -> None:
    site = yard.describe("sites", {"name": "Küstenhaus No. 2", "time_zone": "Pacific/Auckland", "country": "NZ"})
    assert (site["tag"], site["time_zone"], site["country"]) == ("k-stenhaus-no-2", "Pacific/Auckland", "NZ")
    assert yard.refusal("sites", {"name": "Küstenhaus No. 2", "time_zone": "UTC"}, 409)[0] == "/tag"
    content = {"name": "Küstenhaus No. 2", "tag": f"s{uuid4().hex[:8]}", "time_zone": "UTC"}
    assert yard.describe("sites", content)["country"] is None


def test_a_site_has_a_real_time_zone_and_no_unknown_fields(yard: Yard) -> None:
    good = {"name": "The Reefhouse", "tag": f"s{uuid4().hex[:8]}", "time_zone": "Europe/Oslo"}
    for fields, pointer in (
        ({"time_zone": "Middle/Earth"}, "/time_zone"),
        ({"time_zone": "+01:00"}, "/time_zone"),
        ({"country": "Norway"}, "/country"),
        ({"name": ""}, "/name"),
        ({"tag": "with space"}, "/tag"),
        ({"retention_years": {"readings": 7.5}}, "/retention_years/readings"),
        ({"zone": "Europe/Oslo"}, "/zone"),
    ):
        assert yard.refusal("sites", {**good, **fields}, 422)[0] == pointer


def test_a_site_is_changed_with_the_version_that_was_read(yard: Yard) -> None:
    yard.house.call("PATCH", f"/v1/sites/{yard.site['id']}", {"name": "x"}, status=428)
    changed = yard.change("sites", yard.site, {"country": "NO", "units": {"alkalinity": "dKH"}})
    assert (changed["version"], changed["country"], changed["units"]) == (2, "NO", {"alkalinity": "dKH"})
    assert changed["name"] == yard.site["name"]
    yard.change("sites", yard.site, {"name": "x"}, status=412)
    assert yard.change("sites", changed, {"country": None})["country"] is None
    assert told(yard.change("sites", {**changed, "version": 3}, {"time_zone": "Mars/Here"}, status=422))[0] == (
        "/time_zone"
    )
    with yard.house.database.read() as session:
        events = session.exec(
            select(Event.action).where(Event.thing_id == UUID(yard.site["id"])).order_by(Event.version)
        )
        assert list(events) == ["described", "changed", "changed"]


def test_only_the_installations_administrator_adds_sites(yard: Yard) -> None:
    content = {"name": "Annex", "tag": f"s{uuid4().hex[:8]}", "time_zone": "UTC"}
    for token in (
        yard.house.token("supervisor"),
        yard.house.token("administrator", site=yard.site["id"]),
        yard.house.token("administrator", scopes=["read", "describe"]),
    ):
        yard.describe("sites", content, token=token, status=403)
    yard.describe("sites", content, status=201)


def test_a_sites_token_sees_its_own_site_alone(yard: Yard) -> None:
    other = yard.house.a_site()
    administrator = yard.house.token("administrator", site=yard.site["id"])
    assert [site["id"] for site in yard.house.call("GET", "/v1/sites", token=administrator)] == [yard.site["id"]]
    yard.house.call("GET", f"/v1/sites/{other['id']}", token=administrator, status=404)
    yard.change("sites", other, {"name": "mine"}, token=administrator, status=404)
    assert yard.change("sites", yard.site, {"name": "Ours"}, token=administrator)["name"] == "Ours"
    keeper = yard.house.token("keeper", site=yard.site["id"])
    yard.change("sites", yard.site, {"name": "mine"}, token=keeper, status=403)


def test_lists_are_walked_in_pages_without_skipping_or_repeating(yard: Yard) -> None:
    for _ in range(3):
        yard.house.a_site()
    whole = [site["id"] for site in yard.house.call("GET", "/v1/sites?limit=1000")]
    walked, path = [], f"/v1/sites?limit={len(whole) // 3}"
    while path:
        response = yard.house.send("GET", path)
        walked += [site["id"] for site in response.json()]
        path = response.links.get("next", {}).get("url", "")
    assert walked == whole
    assert told(yard.house.call("GET", "/v1/sites?cursor=nonsense", status=400))[0] == "cursor"
