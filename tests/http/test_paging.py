"""Cursor pages: walked by their links (RFC 8288), every row is seen once, whatever comes in meanwhile."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from support.house import House

from service.storage.database import Database


@pytest.fixture
def house(database: Database) -> House:
    """A service of a test's own: these tests count every row."""
    return House(database)


def walked(house: House, path: str) -> list[list[Any]]:
    """The pages of a list, following `Link`."""
    pages, next_path = [], path
    while next_path:
        response = house.send("GET", next_path)
        assert response.status_code == 200
        pages.append(response.json())
        link = response.headers.get("link", "")
        assert link == "" or link.endswith('>; rel="next"')
        next_path = link.partition("<")[2].partition(">")[0]
        assert not next_path or next_path.startswith("/v1/")
    return pages


@pytest.mark.parametrize("limit", [1, 2, 3, 7, 8, 100])
def test_a_list_is_walked_to_its_end(house: House, limit: int) -> None:
    made = {house.a_site()["id"] for _ in range(7)}
    pages = walked(house, f"/v1/sites?limit={limit}")
    seen = [site["id"] for page in pages for site in page]
    assert (len(seen), set(seen)) == (7, made)
    assert all(len(page) == limit for page in pages[:-1])
    assert pages[-1]  # a full last page promises no empty one


def test_rows_at_the_same_instant_are_each_seen_once(house: House) -> None:
    system = house.a_system()
    made = [house.a_reading(system["id"], 8.0)["id"] for _ in range(5)]
    seen = [reading["id"] for page in walked(house, "/v1/readings?limit=2") for reading in page]
    assert sorted(seen) == sorted(made)


def test_what_comes_in_meanwhile_neither_hides_nor_repeats_a_row(house: House) -> None:
    system = house.a_system()
    made = []
    for _ in range(4):
        made.append(house.a_reading(system["id"])["id"])
        house.pass_time(hours=1)
    first = house.send("GET", "/v1/readings?limit=2")
    house.a_reading(system["id"])  # newer than all: the newest come first
    rest = walked(house, first.headers["link"].partition("<")[2].partition(">")[0])
    seen = [reading["id"] for page in [first.json(), *rest] for reading in page]
    assert seen == made[::-1]


def test_the_link_keeps_the_question(house: House) -> None:
    system = house.a_system()
    for _ in range(3):
        house.a_reading(system["id"])
    other = house.a_system()
    house.a_reading(other["id"])
    pages = walked(house, f"/v1/readings?limit=1&subject={system['id']}&quantity=alkalinity")
    assert [reading["subject_id"] for page in pages for reading in page] == [system["id"]] * 3


def test_a_cursor_opens_no_other_site(house: House) -> None:
    home, elsewhere = house.a_site(), house.a_site()
    for site in (home, elsewhere):
        for _ in range(3):
            house.call("POST", "/v1/rooms", {"site_id": site["id"], "tag": f"r{uuid4().hex[:8]}", "name": "Room"})
    link = house.send("GET", "/v1/rooms?limit=1").headers["link"]
    local = house.token("reader", site=elsewhere["id"])
    rows = house.call("GET", link.partition("<")[2].partition(">")[0].replace("limit=1", "limit=100"), token=local)
    assert {row["site_id"] for row in rows} == {elsewhere["id"]}
