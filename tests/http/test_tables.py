"""Lists and courses as CSV: one variant for machines, one in which a spreadsheet program runs nothing."""

from __future__ import annotations

import csv
import io
import re
from datetime import datetime
from typing import Any

import pytest
from support.diary import titrations
from support.house import House

from service.http.tables import guarded, line

FORMULAS = ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "\tx", "\rx", "＝1"]


@pytest.mark.parametrize("text", FORMULAS)
def test_what_a_spreadsheet_would_run_is_text(text: str) -> None:
    assert guarded(text) == f"'{text}"
    (cell,) = next(csv.reader(io.StringIO(line([text], guard=True), newline="")))
    assert cell == f"'{text}"


@pytest.mark.parametrize("text", ["8.2", "-8.2", "+8", "-8,2", "-1e-5", "plain", "a=b", "", "2026-01-02"])
def test_numbers_and_plain_words_stay_as_they_are(text: str) -> None:
    assert guarded(text) == text


def table(house: House, path: str) -> list[dict[str, str]]:
    response = house.send("GET", path)
    assert response.headers["content-type"] == "text/csv; charset=utf-8"
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"), newline="")))


def test_a_list_of_records_comes_as_csv(house: House) -> None:
    system = house.a_system()
    house.a_reading(system["id"], 8.2, note=FORMULAS[0])
    house.a_reading(system["id"], 8.1, note='two\nlines, "quoted"')
    plain = table(house, "/v1/readings?format=csv")
    assert {(row["value"], row["unit"], row["canonical.unit"]) for row in plain} == {
        ("8.1", "dKH", "meq/L"),
        ("8.2", "dKH", "meq/L"),
    }
    notes = {row["note"] for row in plain}
    assert notes == {"=1+1", 'two\nlines, "quoted"'}
    safe = table(house, "/v1/readings?format=spreadsheet")
    assert {row["note"] for row in safe} == {"'=1+1", 'two\nlines, "quoted"'}
    for row in safe:
        for cell in row.values():
            assert not cell or cell[0] not in "=+@\t\r"
    assert house.send("GET", "/v1/readings?format=spreadsheet").content.startswith(b"\xef\xbb\xbf")  # UTF-8, said so
    house.call("GET", "/v1/readings?format=excel", status=422)


def test_an_empty_list_has_its_headings_and_pages_have_their_links(house: House) -> None:
    site = house.a_site()
    empty = house.send("GET", "/v1/systems?format=csv")
    assert empty.text.startswith("id,version,site_id,tag,name,")
    assert "water_volume.value,water_volume.unit" in empty.text
    for _ in range(3):
        house.a_system(site)
    walked: list[str] = []
    path = "/v1/systems?format=csv&limit=2"
    while path:
        walked += [row["tag"] for row in table(house, path)]
        link = house.send("GET", path).headers.get("link", "")
        path = (re.findall(r"<([^>]*)>", link) or [""])[0]
    assert sorted(walked) == sorted(row["tag"] for row in house.call("GET", "/v1/systems"))


def test_a_course_comes_as_csv(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], [3.0 - 0.05 * day for day in range(12)])
    path = f"/v1/systems/{system['id']}/consumption"
    course: Any = house.call("GET", path)["course"]
    rows = table(house, f"{path}?format=csv")
    assert len(rows) == len(course["at"]) > 10
    assert [float(row["value"]) for row in rows] == course["value"]
    assert [datetime.fromisoformat(row["at"]) for row in rows] == [datetime.fromisoformat(at) for at in course["at"]]
    assert {row["unit"] for row in rows} == {course["unit"]}
    first, other = (house.send("GET", f"{path}?format={form}").headers["etag"] for form in ("csv", "json"))
    assert first != other
