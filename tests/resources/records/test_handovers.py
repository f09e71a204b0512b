"""Handovers: told to the next shift, noted once."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

from support.house import House


def sent(house: House, site: dict[str, Any], /, **fields: Any) -> dict[str, Any]:
    """A valid handover, some fields replaced."""
    content = {"site_id": site["id"], "text": "Loop 2 runs on the spare pump.", "written_at": house.now.isoformat()}
    return {**content, **fields}


def test_a_handover_is_noted_once_by_somebody(house: House) -> None:
    site = house.a_site()
    early, late = house.token("keeper", site=site["id"]), house.token("keeper", site=site["id"])
    body = sent(house, site, shift="night", subject_id=house.a_system(site)["id"], written_by="early shift")
    path = f"/v1/handovers/{uuid4()}"
    written = house.call("PUT", path, body, token=early, status=201)
    assert written["acknowledged_at"] is None
    house.pass_time(hours=8)
    noted = house.call("POST", f"{path}/acknowledgement", token=late)
    assert (noted["version"], noted["acknowledged_at"]) == (2, house.now.isoformat().replace("+00:00", "Z"))
    house.pass_time(minutes=1)
    assert house.call("POST", f"{path}/acknowledgement", token=late) == noted  # the answer was lost, the phone repeats
    house.call("POST", f"{path}/acknowledgement", token=early, status=409)
    assert house.call("PUT", path, body, token=early, status=200) == noted
    assert [version["acknowledged_at"] for version in house.call("GET", f"{path}/versions")] == [
        None,
        noted["acknowledged_at"],
    ]
    changed = house.call(
        "POST", f"{path}/corrections", {"text": "Loop 3.", "reason": "typo"}, token=early, headers={"If-Match": '"2"'}
    )
    assert (changed["text"], changed["acknowledged_by"]) == ("Loop 3.", noted["acknowledged_by"])
    assert len(house.call("GET", "/v1/handovers?shift=night")) == 1
    assert house.call("GET", "/v1/handovers?shift=late") == []


def test_what_was_withdrawn_is_not_noted(house: House) -> None:
    path = f"/v1/handovers/{uuid4()}"
    house.call("PUT", path, sent(house, house.a_site()))
    house.call("POST", f"{path}/withdrawal", {"reason": "wrong site"}, headers={"If-Match": '"1"'})
    house.call("POST", f"{path}/acknowledgement", status=409)


def test_bad_input_is_named(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    elsewhere = house.a_system(other)["id"]
    bad = [
        ({"text": ""}, "/text", 422),
        ({"text": 3}, "/text", 422),
        ({"site_id": str(uuid4())}, "/site_id", 404),
        ({"subject_id": elsewhere}, "/subject_id", 422),
        ({"shift": "Night shift"}, "/shift", 422),
        ({"written_at": (house.now + timedelta(hours=1)).isoformat()}, "/written_at", 422),
    ]
    for fields, pointer, status in bad:
        problem = house.call("PUT", f"/v1/handovers/{uuid4()}", sent(house, site, **fields), status=status)
        assert problem["errors"][0]["pointer"] == pointer, problem


def test_another_site_neither_reads_nor_notes(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    path = f"/v1/handovers/{uuid4()}"
    house.call("PUT", path, sent(house, site))
    stranger, reader = house.token("supervisor", site=other["id"]), house.token("reader", site=site["id"])
    house.call("GET", path, token=stranger, status=404)
    house.call("POST", f"{path}/acknowledgement", token=stranger, status=404)
    house.call("PUT", f"/v1/handovers/{uuid4()}", sent(house, site), token=stranger, status=404)
    house.call("POST", f"{path}/acknowledgement", token=reader, status=403)
