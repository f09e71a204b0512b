"""Who may do what: one row an operation of the API. A new operation needs a row here, two lines as a rule."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from access.rows import (
    ADMINISTER,
    CORRECT,
    DESCRIBE,
    DONE,
    LIST,
    READ,
    RECORD,
    SHARED,
    Row,
    at,
    on_system,
    plain,
    record,
    thing,
    with_body,
)
from access.world import Ask, Caller, World
from support.camera import photo

from service.access.rights import Right


def a_reading(world: World) -> dict[str, Any]:
    """A reading of the home system."""
    return {
        "subject_id": world.system["id"],
        "quantity": "alkalinity",
        "value": 8.2,
        "unit": "dKH",
        "taken_at": world.at(hours=1),
    }


def a_series(world: World) -> dict[str, Any]:
    """Two values of a pH probe in the home system, at an hour of their own."""
    hour = next(world.hours)
    times = [world.at(hours=hour), world.at(hours=hour, minutes=1)]
    return {"subject_id": world.system["id"], "quantity": "ph", "unit": "[pH]", "taken_at": times, "value": [8.1, 8.2]}


def a_recalibration(world: World) -> dict[str, Any]:
    """A recalibration of the pH probe in the home system."""
    sent = world.new("series", a_series)
    assert sent["stored"] == 2
    where = {"subject_id": world.system["id"], "quantity": "ph"}
    return {**where, "from": world.at(days=2), "to": world.at(hours=1), "offset": 0.04, "reason": "read low in pH 7"}


def a_handover(world: World) -> dict[str, Any]:
    """A word to the next shift at home."""
    return {"site_id": world.site["id"], "text": "the drip is slow", "written_at": world.at(hours=1)}


def a_takeover(world: World) -> dict[str, Any]:
    """Home as somebody read of it an hour ago, and took it over."""
    return {"site_id": world.site["id"], "read_to": 1, "as_of": world.at(hours=1), "taken_at": world.at(hours=1)}


def a_photo(world: World, _by: Caller) -> Ask:
    """A new photo of the home system."""
    query = {"taken_at": world.at(hours=1), "subject_id": world.system["id"]}
    return Ask({"record_id": str(uuid4())}, content=photo(), query=query, headers={"Content-Type": "image/jpeg"})


def of_a_photo(**ask: Any) -> Callable[[World, Caller], Ask]:
    """A request about a photo of the home system, of the caller's own when they may record there."""

    def asked(world: World, by: Caller) -> Ask:
        new = a_photo(world, by)
        own = by.place == "home" and by.holds(Right.RECORD)
        path = f"/v1/photos/{new.path['record_id']}"
        token = world.tokens[by.name] if own else ""
        sent = world.house.send("PUT", path, token=token, content=new.content, params=new.query, headers=new.headers)
        assert sent.status_code == 201, sent.text
        return Ask(new.path, **ask)

    return asked


def a_run(world: World) -> dict[str, Any]:
    """A cut-off test in the home system, begun two hours ago."""
    return {"procedure": "low_ph_cut_off_test", "subject_id": world.system["id"], "started_at": world.at(hours=2)}


RUN_STEPS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("probe_checked", {"note": "reads 7.01 in pH 7"}),
    ("trips", {"value": 7.72, "unit": "[pH]"}),
    ("closing_time", {"value": 40, "unit": "s"}),
    ("bubbles_stopped", {}),
    ("back_in_place", {}),
)


def a_run_with(steps: int, path: str = "", *, own: bool = False, **ask: Any) -> Callable[[World, Caller], Ask]:
    """A request about a run with so many steps done by the administrator, or by the caller; `path` names a step."""

    def asked(world: World, by: Caller) -> Ask:
        run = world.record("commissionings", a_run, by)
        mine = own and by.place == "home" and by.holds(Right.RECORD)
        token = world.tokens[by.name] if mine else world.house.person("administrator")
        second = world.house.person("life_support")
        for code, content in RUN_STEPS[:steps]:
            step = f"/v1/commissionings/{run['id']}/steps/{code}"
            world.house.call("POST", step, {"done_at": world.at(hours=1), **content}, token=token)
            if code == "bubbles_stopped" and path != code:
                world.house.call("POST", f"{step}/sign", {}, token=second)
        return Ask({"record_id": run["id"], **({"code": path} if path else {})}, **ask)

    return asked


def a_person(world: World) -> dict[str, Any]:
    """Somebody who reads at home."""
    return {"name": f"Reader {world.tag()}", "role": "reader", "site_id": world.site["id"]}


def promotion(world: World, _by: Caller) -> Ask:
    """A new reader at home becomes a keeper there."""
    roles = [{"site_id": world.site["id"], "role": "keeper"}]
    return Ask({"person_id": world.new("people", a_person)["id"]}, json={"roles": roles}, headers={"If-Match": '"1"'})


def a_device(world: World) -> dict[str, Any]:
    """A shared device at home."""
    return {"site_id": world.site["id"], "name": world.tag()}


def posted(path: dict[str, str] | None = None) -> Callable[[World, Caller], Ask]:
    """A form from the service's own page, by somebody without a cookie."""
    headers = {"Origin": "http://ooid.test", "Content-Type": "application/x-www-form-urlencoded"}
    return lambda _world, _by: Ask(path or {}, headers=headers)


def a_token(world: World) -> dict[str, Any]:
    """A token that reads at home."""
    return {"name": world.tag(), "role": "reader", "site_id": world.site["id"]}


def a_room(world: World) -> dict[str, Any]:
    """A room at home."""
    return {"site_id": world.site["id"], "tag": world.tag(), "name": "Plant room"}


def a_line(world: World) -> dict[str, Any]:
    """A gas line at home with a new reactor on it."""
    reactors = [world.piece("calcium_reactor")["id"]]
    return {"site_id": world.site["id"], "tag": world.tag(), "reactor_ids": reactors, "from": world.at(days=10)}


def a_cylinder(world: World) -> Any:
    """A cylinder at home."""
    specification = {
        "stamped_tare": {"value": 6.85, "unit": "kg"},
        "water_capacity": {"value": 6.7, "unit": "L"},
        "charge": {"value": 4.5, "unit": "kg"},
    }
    return world.piece("co2_cylinder", specification=specification)


def swap(world: World, _by: Caller) -> Ask:
    """A swap of the one cylinder of a new gas line."""
    old, new = a_cylinder(world), a_cylinder(world)
    world.new("gas-lines", lambda world: {**a_line(world), "cylinder_ids": [old["id"]]})
    return Ask({"cylinder_id": old["id"]}, json={"at": world.at(hours=1), "new_cylinder_id": new["id"]})


def an_import(world: World) -> dict[str, Any]:
    """A table of one reading at home."""
    text = (
        f"date,tank,alk (dKH)\n{world.at(hours=next(world.hours))[:10]},{world.system['tag']},8.{next(world.hours)}\n"
    )
    return {"site": world.site["tag"], "file": {"name": "log.csv", "text": text}}


def imported(world: World, _by: Caller) -> Ask:
    """An import at home."""
    return Ask({"import_id": world.house.call("POST", "/v1/imports", an_import(world))["import"]["id"]})


def own_import(world: World, by: Caller) -> Ask:
    """An import of the caller's own, to undo."""
    own = by.place == "home" and by.holds(RECORD)
    token = world.tokens[by.name] if own else ""
    made = world.house.call("POST", "/v1/imports", an_import(world), token=token)
    return Ask({"import_id": made["import"]["id"]}, json={"reason": "the wrong tank"})


def sign_in_link(world: World, _by: Caller) -> Ask:
    """A fresh link, used from the service's own page."""
    person = world.new("people", a_person)
    link = world.house.call("POST", f"/v1/people/{person['id']}/sign-in-links")
    return Ask({"secret": link["path"].rpartition("/")[2]}, headers={"Origin": "http://ooid.test"})


ROWS: dict[str, Row] = {
    # catalogue: shared by all sites
    "list_quantities": Row(READ, plain(), SHARED),
    "read_quantity": Row(READ, plain(code="alkalinity"), SHARED),
    **thing(
        "method",
        "methods",
        lambda world: {"name": world.tag(), "quantity": "alkalinity", "relative_sd": 0.02},
        {"relative_sd": 0.03},
        shared=True,
    ),
    **thing("lot", "lots", lambda world: {"number": world.tag()}, {"expires_on": "2027-03-31"}, shared=True),
    # people
    "add_person": Row(ADMINISTER, with_body(a_person)),
    "list_people": Row(ADMINISTER, plain(), LIST),
    "read_person": Row(ADMINISTER, at("people", a_person, "person_id")),
    "change_person": Row(ADMINISTER, promotion),
    "make_sign_in_link": Row(ADMINISTER, at("people", a_person, "person_id")),
    "sign_person_out": Row(ADMINISTER, at("people", a_person, "person_id")),
    "make_token": Row(ADMINISTER, with_body(a_token)),
    "list_tokens": Row(ADMINISTER, plain(), LIST),
    "read_token": Row(ADMINISTER, at("tokens", a_token, "token_id")),
    "revoke_token": Row(ADMINISTER, at("tokens", a_token, "token_id")),
    "list_sessions": Row(None, plain(), LIST),
    "end_own_session": Row(None, lambda _world, _by: Ask({"session_id": str(uuid4())}), (404,), done=(404,)),
    "change_password": Row(None, with_body(lambda _world: {"new": "a tank of words"}), (403,), done=(403,)),
    "set_pin": Row(None, with_body(lambda _world: {"pin": "2904"}), (403,), done=(403,)),  # tokens have neither
    "open_device": Row(DESCRIBE, with_body(a_device)),
    "list_devices": Row(DESCRIBE, plain(), LIST),
    "close_device": Row(DESCRIBE, at("devices", a_device, "device_id")),
    "read_current_session": Row(None, plain(), LIST),
    "sign_out": Row(None, plain(), (409,), done=(409,)),  # a token has no session; tests of sessions sign people out
    # places
    "describe_site": Row(
        ADMINISTER,
        with_body(lambda world: {"tag": world.tag(), "name": "Third house", "time_zone": "Europe/Oslo"}),
        everywhere=True,
    ),
    "list_sites": Row(READ, plain(), LIST),
    "read_site": Row(READ, lambda world, _by: Ask({"row_id": world.site["id"]})),
    "change_site": Row(
        ADMINISTER,
        lambda world, _by: Ask(
            {"row_id": world.site["id"]}, json={"name": "The Reefhouse"}, headers=world.as_read("sites", world.site)
        ),
    ),
    **thing("room", "rooms", a_room, {"below_ground": True}),
    **thing(
        "system",
        "systems",
        lambda world: {
            "site_id": world.site["id"],
            "tag": world.tag(),
            "name": "A loop",
            "water_volume": {"value": 900, "unit": "L"},
        },
        {"name": "Another name"},
    ),
    **thing(
        "tank",
        "tanks",
        lambda world: {"system_id": world.system["id"], "tag": world.tag(), "name": "A tank"},
        {"name": "Another name"},
    ),
    **record(
        "set_point",
        "set-points",
        lambda world: {
            "subject_id": world.system["id"],
            "quantity": "target_calcium",
            "value": 420,
            "unit": "mg/L",
            "from": world.at(hours=next(world.hours)),
            "reason": "as agreed",
        },
        lambda world: {"value": 430, "from": world.at(hours=next(world.hours))},
    ),
    # equipment
    **thing(
        "piece_of_equipment",
        "equipment",
        lambda world: {"site_id": world.site["id"], "tag": world.tag(), "kind": "pump"},
        {"name": "return"},
    ),
    **thing(
        "installation",
        "installations",
        lambda world: {
            "equipment_id": world.piece("probe", specification={"quantity": "ph"})["id"],
            "host_id": world.system["id"],
            "from": world.at(days=10),
        },
        {"to": "2026-03-01T12:00:00Z"},
    ),
    **thing("gas_line", "gas-lines", a_line, {"name": "Wall line"}),
    **thing(
        "feed",
        "feeds",
        lambda world: {
            "reactor_id": world.piece("calcium_reactor")["id"],
            "system_id": world.system["id"],
            "from": world.at(days=10),
        },
        {"to": "2026-03-01T12:00:00Z"},
    ),
    "swap_cylinder": Row(RECORD, swap),
    # records
    **record("reading", "readings", a_reading, lambda _world: {"value": 8.4}),
    "record_reading_batch": Row(
        RECORD, with_body(lambda world: {"items": [{"id": str(uuid4()), **a_reading(world)}]}), DONE
    ),
    "record_series": Row(RECORD, with_body(a_series)),
    "read_series": Row(READ, lambda world, _by: Ask(query={"subject_id": world.system["id"], "quantity": "ph"})),
    "list_series": Row(READ, plain(), LIST),
    "list_series_batches": Row(READ, plain(), LIST),
    **record("recalibration", "recalibrations", a_recalibration, lambda _world: {"offset": 0.02}),
    **record(
        "addition",
        "additions",
        lambda world: {
            "kind": "dose",
            "system_id": world.system["id"],
            "started_at": world.at(hours=2),
            "ended_at": world.at(hours=1),
            "alkalinity": {"value": 100, "unit": "meq"},
        },
        lambda _world: {"note": "by hand"},
    ),
    **record(
        "maintenance_event",
        "maintenance-events",
        lambda world: {
            "subject_id": world.system["id"],
            "kind": "inspection",
            "performed_at": world.at(hours=1),
            "what": "looked over",
        },
        lambda _world: {"minutes": 5},
    ),
    **thing(
        "maintenance_plan",
        "maintenance-plans",
        lambda world: {
            "subject_id": world.system["id"],
            "what": "look it over",
            "kind": "inspection",
            "recurrence": "FREQ=MONTHLY",
            "from": world.at(days=10),
        },
        {"procedure": "with a lamp"},
    ),
    "list_due_maintenance": Row(READ, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    **record(
        "stock_change",
        "stock-changes",
        lambda world: {
            "subject_id": world.system["id"],
            "kind": "added",
            "at": world.at(hours=1),
            "what": "staghorn fragments",
        },
        lambda _world: {"count": 3},
    ),
    **record("handover", "handovers", a_handover, lambda _world: {"shift": "night"}),
    **{
        operation: row
        for operation, row in record("takeover", "takeovers", a_takeover, lambda _world: {}).items()
        if operation != "correct_takeover"  # what was read was read
    },
    "read_handover_report": Row(READ, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    "acknowledge_handover": Row(
        RECORD, lambda world, by: Ask({"record_id": world.record("handovers", a_handover, by)["id"]})
    ),
    "put_photo": Row(RECORD, a_photo),
    "list_photos": Row(READ, lambda _world, _by: Ask(), LIST),
    "read_photo": Row(READ, of_a_photo()),
    "read_picture": Row(READ, of_a_photo()),
    "read_thumbnail": Row(READ, of_a_photo()),
    "list_photo_versions": Row(READ, of_a_photo()),
    "withdraw_photo": Row(CORRECT, of_a_photo(json={"reason": "shows a visitor"}, headers={"If-Match": '"1"'})),
    "list_procedures": Row(READ, plain(), SHARED),
    "read_procedure": Row(READ, plain(code="cylinder_change"), SHARED),
    **{
        operation: row
        for operation, row in record("commissioning", "commissionings", a_run, lambda _world: {}).items()
        if operation != "correct_commissioning"  # a run changes by its steps
    },
    "record_step": Row(
        RECORD,
        lambda world, by: Ask(
            {"record_id": world.record("commissionings", a_run, by)["id"], "code": "probe_checked"},
            json={"done_at": world.at(hours=1), "note": "reads 7.01 in pH 7"},
        ),
    ),
    "sign_step": Row(RECORD, a_run_with(4, "bubbles_stopped", json={}), signs=True, by_person=True),
    "take_back_step": Row(CORRECT, a_run_with(1, "probe_checked", own=True, json={"reason": "another probe"})),
    "sign_commissioning": Row(RECORD, a_run_with(5, json={}), signs=True),
    "list_changes": Row(READ, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    "list_audit_entries": Row(DESCRIBE, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    # imports and exports
    "import_table": Row(RECORD, with_body(an_import)),
    "list_imports": Row(READ, plain(), LIST),
    "read_import": Row(READ, imported),
    "read_failed_rows": Row(READ, imported),
    "undo_import": Row(CORRECT, own_import),
    "export_site": Row(ADMINISTER, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    # computations and reports
    "read_consumption": Row(READ, on_system()),
    "check_reading": Row(
        READ,
        lambda world, _by: Ask(
            {"system_id": world.system["id"]}, json={"value": 8.1, "unit": "dKH", "taken_at": world.at(hours=1)}
        ),
    ),
    "read_gas_line_forecast": Row(READ, at("gas-lines", a_line, "line_id")),
    "read_cylinder_forecast": Row(READ, lambda world, _by: Ask({"cylinder_id": a_cylinder(world)["id"]})),
    "read_media_forecast": Row(READ, lambda world, _by: Ask({"reactor_id": world.piece("calcium_reactor")["id"]})),
    "project_system": Row(READ, lambda world, _by: Ask({"system_id": world.system["id"]}, {"days": 7})),
    "read_output_balance": Row(READ, lambda world, _by: Ask({"reactor_id": world.piece("calcium_reactor")["id"]})),
    "read_run_away": Row(READ, lambda world, _by: Ask({"reactor_id": world.piece("calcium_reactor")["id"]})),
    "read_gas_release": Row(READ, at("rooms", a_room, "room_id")),
    "read_round": Row(READ, lambda world, _by: Ask(query={"site": world.site["tag"]})),
    "read_weekly_report": Row(READ, lambda world, _by: Ask(query={"site": world.site["tag"], "week": "2026-W09"})),
    # computations without records
    "calculate_carbonate_system": Row(
        READ,
        with_body(
            lambda _world: {
                "alkalinity": {"value": 2.9, "unit": "meq/L"},
                "ph": {"value": 8.2, "scale": "nbs"},
                "salinity": 35.0,
                "temperature": 25.0,
            }
        ),
        SHARED,
    ),
    "calculate_conversion": Row(READ, with_body(lambda _world: {"value": 8.0, "unit": "dKH", "to": "meq/L"}), SHARED),
    "calculate_cylinder_content": Row(
        READ,
        with_body(
            lambda _world: {
                "water_capacity": {"value": 6.7, "unit": "L"},
                "pressure": {"value": 30.0, "unit": "bar", "reference": "gauge"},
            }
        ),
        SHARED,
    ),
    "calculate_net_calcification": Row(
        READ,
        with_body(
            lambda _world: {
                "start": {"alkalinity": {"value": 2300, "unit": "umol/L"}},
                "end": {"alkalinity": {"value": 2200, "unit": "umol/L"}},
                "volume": {"value": 10, "unit": "L"},
                "duration": {"value": 2, "unit": "h"},
                "basis": "per_litre",
            }
        ),
        SHARED,
    ),
    "calculate_output_balance": Row(
        READ,
        with_body(
            lambda _world: {
                "tank": {"alkalinity": {"value": 8.0, "unit": "dKH"}},
                "effluent": {"alkalinity": {"value": 25.0, "unit": "dKH"}},
            }
        ),
        SHARED,
    ),
    "calculate_gas_release": Row(
        READ,
        with_body(
            lambda _world: {"free_volume": {"value": 30, "unit": "m3"}, "gas_mass": {"value": 4.5, "unit": "kg"}}
        ),
        SHARED,
    ),
    "calculate_run_away": Row(
        READ,
        with_body(
            lambda _world: {
                "tank": {
                    "water_volume": {"value": 1000, "unit": "L"},
                    "alkalinity": {"value": 8, "unit": "dKH"},
                    "ph": 8.0,
                }
            }
        ),
        SHARED,
    ),
    "calculate_limewater": Row(
        READ,
        with_body(lambda _world: {"tank": {"alkalinity": {"value": 8, "unit": "dKH"}, "ph": 8.1}}),
        SHARED,
    ),
    "calculate_correction": Row(
        READ,
        with_body(
            lambda _world: {
                "water_volume": {"value": 1000, "unit": "L"},
                "corrections": [
                    {"salt": "NaHCO3", "from": {"value": 7, "unit": "dKH"}, "to": {"value": 8, "unit": "dKH"}}
                ],
            }
        ),
        SHARED,
    ),
    "calculate_net_water_volume": Row(
        READ,
        with_body(
            lambda _world: {
                "tracer": {
                    "added": {"value": 5, "unit": "g"},
                    "before": {"value": 8, "unit": "mg/L"},
                    "after": {"value": 13, "unit": "mg/L"},
                }
            }
        ),
        SHARED,
    ),
    "calculate_salinity": Row(
        READ, with_body(lambda _world: {"conductivity": {"value": 53, "unit": "mS/cm", "temperature": 25}}), SHARED
    ),
    # outside the versioned API: open to everybody
    "read_health": Row(None, plain(), public=True),
    "read_readiness": Row(None, plain(), public=True),
    "explain_problem": Row(None, plain(slug="stale"), public=True),
    "show_sign_in": Row(None, sign_in_link, public=True),
    "sign_in": Row(None, sign_in_link, public=True),
    "show_sign_in_form": Row(None, plain(), public=True),
    "sign_in_by_password": Row(None, posted(), public=True, done=(422,)),
    # pages of whoever a cookie says: a token is nobody there
    "show_account": Row(None, plain(), public=True, done=(401,)),
    "change_own_password": Row(None, posted(), public=True, done=(401,)),
    "set_own_pin": Row(None, posted(), public=True, done=(401,)),
    "end_listed_session": Row(None, posted({"session_id": str(uuid4())}), public=True, done=(401,)),
    "open_this_device": Row(None, posted(), public=True, done=(401,)),
    "show_device": Row(None, plain(), public=True, done=(401,)),
    "sign_in_by_pin": Row(None, posted(), public=True, done=(401,)),
    "leave_device": Row(None, posted(), public=True),
    "read_plain_style": Row(None, plain(), public=True),
}
