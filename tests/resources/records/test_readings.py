"""Readings: recorded once, confirmed when sent again, corrected, withdrawn, never lost."""

from __future__ import annotations

from uuid import uuid4

from support.house import House


def test_a_reading_is_kept_as_entered_and_in_the_canonical_unit(house: House) -> None:
    system = house.a_system()
    reading = house.a_reading(system["id"], 8.0)
    assert (reading["value"], reading["unit"]) == (8.0, "dKH")
    assert reading["canonical"]["unit"] == "meq/L"
    assert abs(reading["canonical"]["value"] - 8 * 0.35665) < 1e-4  # 1 dKH = 0.35665 meq/L by definition


def test_the_same_reading_twice_is_one_reading(house: House) -> None:
    system = house.a_system()
    content = {
        "subject_id": system["id"],
        "quantity": "alkalinity",
        "value": 8,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }
    path = f"/v1/readings/{uuid4()}"
    house.call("PUT", path, content, status=201)
    house.call("PUT", path, {**content, "value": 8.0}, status=200)
    house.call("PUT", path, {**content, "value": 8.1}, status=409)
    assert len(house.call("GET", "/v1/readings")) == 1


def test_a_correction_is_a_new_version_and_the_old_one_stays_visible(house: House) -> None:
    reading = house.a_reading(house.a_system()["id"], 8.0)
    path = f"/v1/readings/{reading['id']}"
    corrected = house.call(
        "POST", f"{path}/corrections", {"value": 8.4, "reason": "misread the syringe"}, headers={"If-Match": '"1"'}
    )
    assert (corrected["version"], corrected["value"]) == (2, 8.4)
    assert [version["value"] for version in house.call("GET", f"{path}/versions")] == [8.0, 8.4]
    house.call(
        "POST", f"{path}/corrections", {"value": 8.5, "reason": "again"}, headers={"If-Match": '"1"'}, status=412
    )
    house.call("POST", f"{path}/corrections", {"value": 8.5, "reason": "again"}, status=428)
    house.call("POST", f"{path}/corrections", {"value": "8.5", "reason": "x"}, headers={"If-Match": '"2"'}, status=422)
    house.call("POST", f"{path}/withdrawal", {"reason": "wrong tank"}, headers={"If-Match": '"2"'})
    assert house.call("GET", "/v1/readings") == []
    assert house.call("GET", "/v1/readings?withdrawn=true")[0]["state"] == "withdrawn"


def test_impossible_is_refused_and_implausible_wants_confirming(house: House) -> None:
    system = house.a_system()
    content = {
        "subject_id": system["id"],
        "quantity": "ph",
        "value": 9.55,
        "unit": "[pH]",
        "taken_at": house.now.isoformat(),
    }
    refused = house.call("PUT", f"/v1/readings/{uuid4()}", content, status=422)
    assert refused["type"] == "/problems/needs-confirmation"
    assert refused["errors"][0]["pointer"] == "/value"
    assert house.call("PUT", f"/v1/readings/{uuid4()}", {**content, "confirm": True})["flagged"] is True
    house.call("PUT", f"/v1/readings/{uuid4()}", {**content, "value": 19, "confirm": True}, status=422)


def test_a_batch_answers_for_each_item_in_order(house: House) -> None:
    system = house.a_system()
    good = {
        "subject_id": system["id"],
        "quantity": "alkalinity",
        "value": 8,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }
    items = [
        {**good, "id": str(uuid4())},
        {**good, "id": str(uuid4()), "value": True},
        {**good, "id": str(uuid4()), "unti": 1},
    ]
    results = house.call("POST", "/v1/readings/batch", {"items": items})["results"]
    assert [result["status"] for result in results] == [201, 422, 422]
    assert [result["problem"] and result["problem"]["errors"][0]["pointer"] for result in results] == [
        None,
        "/value",
        "/unti",
    ]
    whole = house.call(
        "POST", "/v1/readings/batch", {"items": [{**good, "id": str(uuid4())}, items[1]], "all_or_none": True}
    )
    assert [result["status"] for result in whole["results"]] == [424, 422]
    assert len(house.call("GET", "/v1/readings")) == 1


def test_keepers_correct_their_own_for_a_day_and_supervisors_anybodys(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    role = {name: house.token(name, site=site["id"]) for name in ("reader", "keeper", "life_support", "supervisor")}
    colleague = house.token("keeper", site=site["id"])
    content = {"subject_id": system, "quantity": "alkalinity", "value": 8, "unit": "dKH"}
    content["taken_at"] = house.now.isoformat()
    path = f"/v1/readings/{uuid4()}"
    house.call("PUT", path, content, token=role["reader"], status=403)
    house.call("PUT", path, content, token=role["keeper"], status=201)

    def correct(token: str, version: int, status: int) -> None:
        body, headers = {"value": 8.1 + version / 10, "reason": "look again"}, {"If-Match": f'"{version}"'}
        house.call("POST", f"{path}/corrections", body, token=token, headers=headers, status=status)

    for token in (role["reader"], colleague, role["life_support"]):
        correct(token, 1, 403)
    house.pass_time(hours=24)
    correct(role["keeper"], 1, 200)
    house.pass_time(minutes=1)
    correct(role["keeper"], 2, 403)
    correct(role["supervisor"], 2, 200)
    for name in role:
        house.call("GET", path, token=role[name], status=200)


def test_a_token_does_no_more_than_its_scopes(house: House) -> None:
    site = house.a_site()
    reading = house.a_reading(house.a_system(site)["id"])
    path = f"/v1/readings/{reading['id']}"
    reads = house.token("supervisor", site=site["id"], scopes=["read"])
    records = house.token("supervisor", site=site["id"], scopes=["record"])
    house.call("GET", path, token=reads)
    house.call("GET", path, token=records, status=403)
    content = {**{name: reading[name] for name in ("subject_id", "quantity", "value", "unit", "taken_at")}}
    house.call("PUT", f"/v1/readings/{uuid4()}", content, token=reads, status=403)
    house.call("PUT", f"/v1/readings/{uuid4()}", content, token=records, status=201)
    house.call("POST", f"{path}/withdrawal", {"reason": "x"}, token=records, headers={"If-Match": '"1"'}, status=403)
    expired = house.token("keeper", site=site["id"], expires=house.now)
    house.call("GET", path, token=expired, status=401)


def test_another_site_sees_nothing(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    reading = house.a_reading(house.a_system(site)["id"])
    stranger = house.token("supervisor", site=other["id"])
    path = f"/v1/readings/{reading['id']}"
    content = {name: reading[name] for name in ("subject_id", "quantity", "value", "unit", "taken_at")}
    house.call("GET", path, token=stranger, status=404)
    house.call("GET", f"{path}/versions", token=stranger, status=404)
    house.call("PUT", path, content, token=stranger, status=404)
    house.call("PUT", f"/v1/readings/{uuid4()}", content, token=stranger, status=404)
    change = {"headers": {"If-Match": '"1"'}, "token": stranger, "status": 404}
    house.call("POST", f"{path}/corrections", {"value": 9.0, "reason": "x"}, **change)
    house.call("POST", f"{path}/withdrawal", {"reason": "x"}, **change)
    assert house.call("GET", "/v1/readings", token=stranger) == []
    house.call("GET", f"/v1/readings?site={site['tag']}", token=stranger, status=404)


def test_bad_input_is_named_and_nothing_is_stored(house: House) -> None:
    system = house.a_system()["id"]
    good = {"subject_id": system, "quantity": "alkalinity", "value": 8, "unit": "dKH"}
    good["taken_at"] = house.now.isoformat()
    bad = [
        ({"value": "8"}, "/value", 422),
        ({"value": None}, "/value", 422),
        ({"value": 101}, "/value", 422),
        ({"unit": "stone"}, "/unit", 422),
        ({"unit": "mg/L"}, "/unit", 422),
        ({"quantity": "alcalinity"}, "/quantity", 422),
        ({"quantity": "effluent_flow", "unit": "L/d"}, "/subject_id", 422),
        ({"quantity": "salinity", "value": 1.0264, "unit": "SG"}, "/conditions/temperature", 422),
        ({"conditions": {"moon": "full"}}, "/conditions/moon", 422),
        ({"taken_at": "2026-03-02 11:00"}, "/taken_at", 422),
        ({"taken_at": "2026-03-02T12:06:00Z"}, "/taken_at", 422),
        ({"purpose": "fun"}, "/purpose", 422),
        ({"relative_sd": 1}, "/relative_sd", 422),
        ({"note": "a\u0000b"}, "/note", 422),
        ({"subject_id": str(uuid4())}, "/subject_id", 404),
        ({"lot_id": str(uuid4())}, "/lot_id", 404),
        ({"method": "by eye"}, "/method", 404),
    ]
    for fields, pointer, status in bad:
        problem = house.call("PUT", f"/v1/readings/{uuid4()}", {**good, **fields}, status=status)
        assert problem["errors"][0]["pointer"] == pointer, (fields, problem)
    for text in ('{"value": NaN}', '{"value": Infinity}', '{"value": 1e999}', "[]", "", "{"):
        response = house.send(
            "PUT", f"/v1/readings/{uuid4()}", content=text, headers={"Content-Type": "application/json"}
        )
        assert response.status_code == 422, text
    assert house.call("GET", "/v1/readings") == []


def test_every_version_says_who_made_it_and_when(house: House) -> None:
    site = house.a_site()
    supervisor = house.token("supervisor", site=site["id"])
    reading = house.a_reading(house.a_system(site)["id"], 8.0)
    house.pass_time(hours=3)
    path = f"/v1/readings/{reading['id']}"
    change = {"value": 8.4, "reason": "misread"}
    house.call("POST", f"{path}/corrections", change, headers={"If-Match": '"1"'}, token=supervisor)
    first, second = house.call("GET", f"{path}/versions")
    assert (first["changed_at"], first["changed_by"]) == (None, None)
    assert second["changed_by"] not in (None, second["recorded_by"])
    assert second["changed_at"] > second["recorded_at"]


def test_a_correction_that_changes_nothing_is_refused(house: House) -> None:
    reading = house.a_reading(house.a_system()["id"], 8.0)
    path = f"/v1/readings/{reading['id']}/corrections"
    for sent in ({"reason": "typo"}, {"reason": "typo", "value": 8.0}):
        house.call("POST", path, sent, headers={"If-Match": '"1"'}, status=422)


def test_a_misspelt_filter_is_refused_not_ignored(house: House) -> None:
    house.a_reading(house.a_system()["id"], 8.0)
    refused = house.call("GET", "/v1/readings?sit=cold-quay", status=422)
    assert (refused["errors"][0]["pointer"], refused["errors"][0]["in"]) == ("sit", "query")


def test_a_check_standard_keeps_its_stated_value(house: House) -> None:
    content = {
        "subject_id": house.a_system()["id"],
        "quantity": "alkalinity",
        "value": 8.3,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
        "purpose": "check_standard",
        "conditions": {"stated_value": {"value": 8.0, "unit": "dKH"}},
    }
    path = f"/v1/readings/{uuid4()}"
    house.call("PUT", path, content, status=201)
    assert house.call("GET", path)["conditions"] == content["conditions"]
