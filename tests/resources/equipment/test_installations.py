"""What is mounted on what: one place at a time, within a site, in no circle."""

from __future__ import annotations

from uuid import UUID, uuid4

from resources.equipment.yard import Yard, instant, told

from service.resources.equipment.installations.queries import mounts_of, mounts_on


def test_a_probe_hangs_in_a_reactor_until_it_is_moved(yard: Yard) -> None:
    probe, reactor = yard.piece("probe", specification={"quantity": "chamber_ph"}), yard.reactor()
    tank = yard.house.a_system(yard.site)
    stay = yard.mount(probe, reactor)
    assert (stay["to"], instant(stay["from"])) == (None, instant(yard.at(days=10)))
    ended = yard.change("installations", stay, {"to": yard.at(days=4)})
    assert (ended["version"], instant(ended["to"])) == (2, instant(yard.at(days=4)))
    yard.mount(probe, tank, **{"from": yard.at(days=4)})  # half-open: the old stay ends where the next begins
    with yard.house.database.read() as session:
        hosts = [str(row.host_id) for row in mounts_of(session, [UUID(probe["id"])])]
        assert hosts == [reactor["id"], tank["id"]]
        assert [str(row.equipment_id) for row in mounts_on(session, [UUID(tank["id"])])] == [probe["id"]]
    assert yard.changes()[-3:] == [
        ("installation", "described"),
        ("installation", "changed"),
        ("installation", "described"),
    ]


def test_one_piece_is_in_one_place_at_a_time(yard: Yard) -> None:
    probe, first, second = yard.piece("probe", specification={"quantity": "ph"}), yard.reactor(), yard.reactor()
    stay = yard.mount(probe, first, to=yard.at(days=5))
    for span in (
        {"from": yard.at(days=12)},
        {"from": yard.at(days=12), "to": yard.at(days=9)},
        {"from": yard.at(days=8), "to": yard.at(days=7)},
        {"from": yard.at(days=6)},
    ):
        pointer, said = yard.refusal("installations", yard.mount_sent(probe, second, **span), 409)
        assert pointer == "/equipment_id"
        assert stay["id"] in said
        assert stay["from"][:19] in said
        assert stay["to"][:19] in said
    yard.mount(probe, second, **{"from": yard.at(days=12), "to": yard.at(days=10)})
    later = yard.mount(probe, second, **{"from": yard.at(days=5)})
    assert later["id"] in told(yard.change("installations", stay, {"to": None}, status=409))[1]
    assert later["id"] in told(yard.change("installations", stay, {"to": yard.at(days=4)}, status=409))[1]


def test_an_end_comes_after_the_beginning(yard: Yard) -> None:
    probe, reactor = yard.piece("probe", specification={"quantity": "ph"}), yard.reactor()
    for end in (yard.at(days=10), yard.at(days=11)):
        assert yard.refusal("installations", yard.mount_sent(probe, reactor, to=end), 422)[0] == "/to"
    stay = yard.mount(probe, reactor)
    assert told(yard.change("installations", stay, {"to": yard.at(days=11)}, status=422))[0] == "/to"
    local = yard.mount_sent(probe, reactor, **{"from": "2026-03-01T08:00:00"})
    assert yard.refusal("installations", local, 422)[0] == "/from"


def test_a_mistake_is_undone_by_ending_it_where_it_began(yard: Yard) -> None:
    probe, wrong, right = yard.piece("probe", specification={"quantity": "ph"}), yard.reactor(), yard.reactor()
    stay = yard.mount(probe, wrong)
    yard.change("installations", stay, {"to": stay["from"]})
    yard.mount(probe, right, **{"from": yard.at(days=11)})
    assert len(yard.all("installations")) == 2
    with yard.house.database.read() as session:
        assert [str(row.host_id) for row in mounts_of(session, [UUID(probe["id"])])] == [right["id"]]


def test_a_backdated_beginning_is_corrected_in_place(yard: Yard) -> None:
    probe, reactor = yard.piece("probe", specification={"quantity": "ph"}), yard.reactor()
    before = yard.mount(probe, yard.reactor(), **{"from": yard.at(days=30), "to": yard.at(days=20)})
    stay = yard.mount(probe, reactor)
    earlier = yard.change("installations", stay, {"from": yard.at(days=15)})
    assert instant(earlier["from"]) == instant(yard.at(days=15))
    assert before["id"] in told(yard.change("installations", earlier, {"from": yard.at(days=25)}, status=409))[1]


def test_nothing_is_mounted_on_itself_or_in_a_circle(yard: Yard) -> None:
    cylinder, regulator, valve = yard.cylinder(), yard.piece("co2_regulator"), yard.piece("other")
    assert yard.refusal("installations", yard.mount_sent(valve, valve), 422)[0] == "/host_id"
    yard.mount(regulator, cylinder, to=yard.at(days=5))
    yard.mount(valve, regulator)
    pointer, said = yard.refusal("installations", yard.mount_sent(cylinder, valve), 409)
    assert pointer == "/host_id"
    assert "circle" in said
    yard.mount(cylinder, valve, **{"from": yard.at(days=5)})  # the regulator is off the cylinder by then


def test_both_ends_stand_on_one_site(yard: Yard) -> None:
    probe = yard.piece("probe", specification={"quantity": "ph"})
    elsewhere = yard.house.a_system()
    assert yard.refusal("installations", yard.mount_sent(probe, elsewhere), 422)[0] == "/host_id"
    token = yard.house.token("supervisor", site=yard.site["id"])
    assert yard.refusal("installations", yard.mount_sent(probe, elsewhere), 404, token=token)[0] == "/host_id"
    unknown = {"id": str(uuid4())}
    assert yard.refusal("installations", yard.mount_sent(unknown, elsewhere), 404)[0] == "/equipment_id"
    assert yard.refusal("installations", yard.mount_sent(elsewhere, probe), 404)[0] == "/equipment_id"


def test_installations_are_listed_by_site_and_hidden_from_others(yard: Yard) -> None:
    stay = yard.mount(yard.piece("probe", specification={"quantity": "ph"}), yard.reactor())
    other = yard.house.a_site()
    assert [row["id"] for row in yard.house.call("GET", f"/v1/installations?site={yard.site['tag']}")] == [stay["id"]]
    assert yard.house.call("GET", f"/v1/installations?site={other['tag']}") == []
    token = yard.house.token("supervisor", site=other["id"])
    assert yard.house.call("GET", "/v1/installations", token=token) == []
    yard.house.call("GET", f"/v1/installations/{stay['id']}", token=token, status=404)
    yard.change("installations", stay, {"to": yard.at()}, token=token, status=404)


def test_a_change_of_an_installation_needs_its_version(yard: Yard) -> None:
    stay = yard.mount(yard.piece("probe", specification={"quantity": "ph"}), yard.reactor())
    yard.house.call("PATCH", f"/v1/installations/{stay['id']}", {"to": yard.at()}, status=428)
    yard.change("installations", stay, {"to": yard.at(days=1)})
    yard.change("installations", stay, {"to": yard.at()}, status=412)
