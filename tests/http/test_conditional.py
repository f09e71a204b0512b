"""Changes name the version they change (RFC 9110 section 13; 428 from RFC 6585): nobody overwrites unseen."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

from support.house import House

from service.http.conditional import is_held, tag_of


def change(house: House, site: Any, name: str, if_match: str | None) -> Any:
    """The response to a change of a site's name."""
    headers = {} if if_match is None else {"If-Match": if_match}
    return house.send("PATCH", f"/v1/sites/{site['id']}", json={"name": name}, headers=headers)


def test_a_change_without_a_version_is_refused(house: House) -> None:
    answer = change(house, house.a_site(), "Another", None)
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (428, "If-Match")


def test_a_change_of_an_older_version_is_refused_and_says_which_one_stands(house: House) -> None:
    site = house.a_site()
    assert change(house, site, "First", '"1"').headers["etag"] == '"2"'
    answer = change(house, site, "Second", '"1"')
    assert answer.status_code == 412
    assert '"2"' in answer.json()["detail"]
    assert house.call("GET", f"/v1/sites/{site['id']}")["name"] == "First"


def test_of_many_who_change_the_same_version_one_does(house: House) -> None:
    site = house.a_site()
    with ThreadPoolExecutor(8) as crowd:
        answers = list(crowd.map(lambda number: change(house, site, f"Name {number}", '"1"'), range(8)))
    assert sorted(answer.status_code for answer in answers) == [200] + [412] * 7
    assert house.call("GET", f"/v1/sites/{site['id']}")["version"] == 2


def test_the_version_is_in_the_answer_to_every_read_and_change(house: House) -> None:
    site = house.a_site()
    read = house.send("GET", f"/v1/sites/{site['id']}")
    assert read.headers["etag"] == tag_of(site["version"]) == '"1"'


def test_a_held_representation_is_recognised_among_several() -> None:
    # RFC 9110 13.1.2: If-None-Match lists tags and compares weakly
    assert is_held('"a", W/"b"', '"b"')
    assert is_held('"b"', '"b"')
    assert not is_held('"a"', '"b"')
    assert not is_held(None, '"b"')
