"""Feeds: which reactor goes into which system, with what share; never more than all of it."""

from __future__ import annotations

from uuid import UUID, uuid4

from resources.equipment.yard import Yard, instant, told

from service.resources.equipment.feeds.queries import feeds_from, feeds_into


def test_a_reactor_feeds_a_system_with_all_of_its_effluent(yard: Yard) -> None:
    feed = yard.feed(yard.reactor(), yard.house.a_system(yard.site))
    assert (feed["share"], feed["to"], feed["continued_by"]) == (1, None, None)
    assert yard.all("feeds") == [feed]
    assert yard.changes()[-1] == ("feed", "described")


def test_several_each_way(yard: Yard) -> None:
    one, two = yard.reactor(), yard.reactor()
    systems = [yard.house.a_system(yard.site) for _ in range(9)]
    for system in systems:
        yard.feed(one, system, share=1 / 9)  # nine ninths are a whole, though their floating sum is above 1
    yard.feed(two, systems[0])
    with yard.house.database.read() as session:
        into = feeds_into(session, [UUID(system["id"]) for system in systems])
        assert sorted(row.share for row in into) == [1 / 9] * 9 + [1]
        assert len(feeds_from(session, [UUID(one["id"])])) == 9


def test_shares_never_add_up_to_more_than_the_whole(yard: Yard) -> None:
    reactor = yard.reactor()
    first, second, third = (yard.house.a_system(yard.site) for _ in range(3))
    early = yard.feed(reactor, first, share=0.7, to=yard.at(days=5))
    late = yard.feed(reactor, second, share=0.6, **{"from": yard.at(days=4)})
    # 0.35 fits beside neither, at whichever end the new one overlaps
    for span, named in (
        ({"from": yard.at(days=12)}, early),
        ({"from": yard.at(days=5)}, late),
        ({"from": yard.at(days=12), "to": yard.at(days=9)}, early),
    ):
        share = 0.45 if named is late else 0.35
        pointer, said = yard.refusal("feeds", yard.feed_sent(reactor, third, share=share, **span), 409)
        assert pointer == "/share"
        assert named["id"] in said
    yard.feed(reactor, third, share=0.3, **{"from": yard.at(days=12)})
    yard.feed(reactor, first, share=0.1, **{"from": yard.at(days=5)})
    pointer, said = told(yard.change("feeds", late, {"share": 0.7, "from": yard.at(days=1)}, status=409))
    assert pointer == "/share"
    assert "0.6 is left" in said


def test_a_share_between_two_others_that_fit_singly_is_judged_at_every_instant(yard: Yard) -> None:
    reactor = yard.reactor()
    systems = [yard.house.a_system(yard.site) for _ in range(3)]
    yard.feed(reactor, systems[0], share=0.4, to=yard.at(days=6))
    yard.feed(reactor, systems[1], share=0.4, **{"from": yard.at(days=6)})  # never both at once
    yard.feed(reactor, systems[2], share=0.6)


def test_a_new_share_ends_the_feed_and_goes_on_as_another(yard: Yard) -> None:
    feed = yard.feed(yard.reactor(), yard.house.a_system(yard.site), share=0.5)
    ended = yard.change("feeds", feed, {"share": 0.8, "from": yard.at(days=3)})
    assert (ended["share"], instant(ended["to"])) == (0.5, instant(yard.at(days=3)))
    following = yard.read("feeds", {"id": ended["continued_by"]})
    assert (following["share"], following["from"], following["to"]) == (0.8, ended["to"], None)
    assert yard.changes()[-3:] == [("feed", "described"), ("feed", "described"), ("feed", "changed")]
    from_now = yard.change("feeds", following, {"share": 0.9})
    assert instant(from_now["to"]) == yard.house.now


def test_a_backdated_share_splits_the_interval_it_falls_in_up_to_its_end(yard: Yard) -> None:
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    feed = yard.feed(reactor, system, share=0.5, to=yard.at(days=2))
    ended = yard.change("feeds", feed, {"share": 0.8, "from": yard.at(days=6)})
    assert yard.read("feeds", {"id": ended["continued_by"]})["to"] == feed["to"]
    for days in (11, 6, 1):
        patch = {"share": 0.4, "from": yard.at(days=days)}
        pointer, said = told(yard.change("feeds", ended, patch, status=409))
        assert pointer == "/from"
        assert "holds" in said


def test_a_share_from_the_beginning_is_replaced_in_place(yard: Yard) -> None:
    feed = yard.feed(yard.reactor(), yard.house.a_system(yard.site), share=0.5)
    changed = yard.change("feeds", feed, {"share": 0.25, "from": yard.at(days=10), "to": yard.at(days=1)})
    assert (changed["id"], changed["share"], changed["version"]) == (feed["id"], 0.25, 2)
    assert instant(changed["to"]) == instant(yard.at(days=1))
    assert len(yard.all("feeds")) == 1


def test_a_feed_is_ended_taken_up_again_and_undone(yard: Yard) -> None:
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    feed = yard.feed(reactor, system)
    ended = yard.change("feeds", feed, {"to": yard.at(days=4)})
    assert told(yard.change("feeds", ended, {"to": yard.at(days=11)}, status=422))[0] == "/to"
    again = yard.change("feeds", ended, {"to": None})
    undone = yard.change("feeds", again, {"to": feed["from"]})
    assert undone["version"] == 4
    yard.feed(reactor, system)
    with yard.house.database.read() as session:
        assert len(feeds_into(session, [UUID(system["id"])])) == 1


def test_one_reactor_feeds_one_system_by_one_feed_at_a_time(yard: Yard) -> None:
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    feed = yard.feed(reactor, system, share=0.2)
    pointer, said = yard.refusal("feeds", yard.feed_sent(reactor, system, share=0.2), 409)
    assert pointer == "/system_id"
    assert feed["id"] in said


def test_what_makes_no_feed_is_refused_naming_the_field(yard: Yard) -> None:
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    for fields, pointer in (
        ({"share": 0}, "/share"),
        ({"share": 1.1}, "/share"),
        ({"share": "0.5"}, "/share"),
        ({"to": yard.at(days=10)}, "/to"),
        ({"from": "today"}, "/from"),
        ({"shares": 1}, "/shares"),
        ({"reactor_id": yard.cylinder()["id"]}, "/reactor_id"),
    ):
        assert yard.refusal("feeds", yard.feed_sent(reactor, system, **fields), 422)[0] == pointer
    for fields, pointer in (
        ({"reactor_id": str(uuid4())}, "/reactor_id"),
        ({"system_id": str(uuid4())}, "/system_id"),
        ({"system_id": reactor["id"]}, "/system_id"),
    ):
        assert yard.refusal("feeds", yard.feed_sent(reactor, system, **fields), 404)[0] == pointer
    feed = yard.feed(reactor, system)
    assert told(yard.change("feeds", feed, {"from": yard.at(days=1)}, status=422))[0] == "/from"
    assert yard.all("feeds") == [feed]


def test_feeds_stay_within_a_site_and_need_their_version(yard: Yard) -> None:
    other = Yard(yard.house)
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    theirs = yard.house.a_system(other.site)
    assert yard.refusal("feeds", yard.feed_sent(reactor, theirs), 422)[0] == "/system_id"
    mine = yard.house.token("supervisor", site=yard.site["id"])
    assert yard.refusal("feeds", yard.feed_sent(reactor, theirs), 404, token=mine)[0] == "/system_id"
    feed = yard.feed(reactor, system)
    stranger = yard.house.token("supervisor", site=other.site["id"])
    yard.house.call("GET", f"/v1/feeds/{feed['id']}", token=stranger, status=404)
    yard.change("feeds", feed, {"to": None}, token=stranger, status=404)
    assert yard.house.call("GET", "/v1/feeds", token=stranger) == []
    yard.house.call("PATCH", f"/v1/feeds/{feed['id']}", {"to": None}, status=428)
    yard.change("feeds", feed, {"to": yard.at()})
    yard.change("feeds", feed, {"to": None}, status=412)
    yard.describe("feeds", yard.feed_sent(reactor, system), token=yard.house.token("keeper"), status=403)
