"""The audit trail as it is read: who changed what, when, from where, and why."""

from __future__ import annotations

from uuid import uuid4

from support.house import House

from service.storage.types import digest


def test_an_entry_says_who_what_and_why(house: House) -> None:
    site = house.a_site()
    reading = house.a_reading(house.a_system(site)["id"], 8.0)
    path = f"/v1/readings/{reading['id']}"
    change = {"value": 8.4, "reason": "misread the syringe"}
    corrected = house.call("POST", f"{path}/corrections", change, headers={"If-Match": '"1"'})
    first, second = house.call("GET", f"/v1/audit?site={site['tag']}&thing={reading['id']}")
    assert (first["before"], first["after"], first["why"]) == (None, reading, None)
    assert (second["before"], second["after"], second["why"]) == (reading, corrected, "misread the syringe")
    assert second["actor"] == reading["recorded_by"]
    assert second["actor_name"] == "administrator 1"
    assert second["origin"] == "127.0.0.1"
    assert second["previous"] == first["hash"]


def test_anybody_can_recompute_the_chain(house: House) -> None:
    """SHA-256 over the canonical JSON (sorted keys, no spaces) of an entry with the hash before it."""
    site = house.a_site()
    house.a_reading(house.a_system(site)["id"])
    previous = "00" * 32
    for seq, entry in enumerate(house.call("GET", f"/v1/audit?site={site['id']}"), start=1):
        assert (entry["seq"], entry["previous"]) == (seq, previous)
        at = int(house.now.timestamp()) * 1_000_000
        parts = [entry[name] for name in ("actor", "origin", "why", "before", "after", "count", "digest", "previous")]
        assert digest([site["id"], seq, at, *parts]).hex() == entry["hash"]
        previous = entry["hash"]
    assert seq == 4


def test_the_newest_come_last_page_by_page(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    for _ in range(5):
        house.a_reading(system)
    path, found = f"/v1/audit?site={site['id']}&limit=3", []
    while path:
        response = house.send("GET", path)
        found += [entry["seq"] for entry in response.json()]
        link = response.links.get("next")
        path = link["url"] if link else ""
    assert found == list(range(1, 9))


def test_supervisors_read_their_own_sites_trail_and_nobody_elses(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    path = f"/v1/audit?site={site['id']}"
    house.call("GET", path, token=house.token("supervisor", site=site["id"]))
    house.call("GET", path, token=house.token("supervisor", site=other["id"]), status=404)
    for role in ("reader", "keeper", "life_support"):
        house.call("GET", path, token=house.token(role, site=site["id"]), status=403)
    house.call("GET", "/v1/audit?site=installation", token=house.token("supervisor", site=site["id"]), status=403)
    assert house.call("GET", "/v1/audit?site=installation")[0]["after"]["tag"] == site["tag"]


def test_filters_and_bad_requests(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    keeper = house.token("keeper", site=site["id"])
    content = {"subject_id": system, "quantity": "ph", "value": 8.1, "unit": "[pH]", "taken_at": house.now.isoformat()}
    reading = house.call("PUT", f"/v1/readings/{uuid4()}", content, token=keeper)
    found = house.call("GET", f"/v1/audit?site={site['id']}&actor={reading['recorded_by']}")
    assert [entry["after"]["id"] for entry in found] == [reading["id"]]
    house.call("GET", "/v1/audit", status=422)
    house.call("GET", f"/v1/audit?site={site['id']}&thing=x", status=422)
    for cursor in ("x", "WyJ4Il0", "Wy0xXQ", "W3RydWVd", "WzEsMl0"):  # not base64 JSON, ["x"], [-1], [true], [1,2]
        house.call("GET", f"/v1/audit?site={site['id']}&cursor={cursor}", status=400)
