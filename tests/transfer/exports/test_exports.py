"""A site as an archive: whole, readable, checked, and an equal site again in an empty service."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from support.camera import drawn, photo
from support.diary import dosed, titrations
from support.house import House

from service.access.caller import Work
from service.access.rights import Role
from service.cli.opening import OPERATOR
from service.errors import Conflict, NotAllowed, ServiceError, TooLarge, Unacceptable
from service.resources.records import checking
from service.storage.base import metadata
from service.storage.database import Database
from service.transfer.exports import restoring, tables
from service.transfer.exports.dictionary import MEANINGS, lines
from service.transfer.exports.restoring import restore_site

FORMULA = '=HYPERLINK("http://elsewhere.example","look")'


@pytest.fixture
def site(house: House) -> Any:
    """A site with something of every kind, some of it corrected, withdrawn, imported and undone."""
    found = house.a_site(tag="house", name="The Reefhouse")
    room = house.call("POST", "/v1/rooms", {"site_id": found["id"], "tag": "plant", "name": "Plant room"})
    system = house.a_system(found, tag="loop", name="'Loop' +1", room_id=room["id"])
    house.call("POST", "/v1/tanks", {"system_id": system["id"], "tag": "rack", "name": "Rack"})
    method = {"name": "=blue bottle", "quantity": "alkalinity", "repeatability": {"value": 0.3, "unit": "dKH"}}
    method_id = house.call("POST", "/v1/methods", method)["id"]
    lot = house.call("POST", "/v1/lots", {"number": "A7", "method_id": method_id, "expires_on": "2027-03-31"})
    titrations(house, system["id"], [3.0 - 0.02 * (day % 3) for day in range(20)])
    dosed(house, system["id"], 60.0, 20.0)
    reading = house.a_reading(system["id"], 8.3, method=method_id, lot_id=lot["id"], note=FORMULA)
    tag = {"If-Match": '"1"'}
    keeper = house.call("POST", "/v1/tokens", {"name": "shift", "role": "keeper", "site_id": found["id"]})["secret"]
    changed = {"reason": "misread", "value": 8.4}
    house.call("POST", f"/v1/readings/{reading['id']}/corrections", changed, headers=tag)
    own = house.call(
        "PUT",
        f"/v1/readings/{uuid4()}",
        {
            "subject_id": system["id"], "quantity": "ph", "value": 8.1, "unit": "[pH]",
            "taken_at": house.now.isoformat(),
        },
        token=keeper,
    )  # fmt: skip
    house.call("POST", f"/v1/readings/{own['id']}/withdrawal", {"reason": "wrong tank"}, headers=tag, token=keeper)
    event = {
        "subject_id": system["id"],
        "kind": "inspection",
        "performed_at": house.now.isoformat(),
        "what": "-all\nwell",
    }
    seen_id = uuid4()
    house.call("PUT", f"/v1/maintenance-events/{seen_id}", event)
    said = {
        "taken_at": house.now.isoformat(),
        "of_kind": "maintenance_event",
        "of_id": str(seen_id),
        "caption": "=tips",
    }
    for width in (64, 65):
        path = f"/v1/photos/{uuid4()}"
        header = {"Content-Type": "image/jpeg"}
        house.send("PUT", path, content=photo(image=drawn(width, 48)), params=said, headers=header)
    house.call("POST", f"{path}/withdrawal", {"reason": "blurred"}, headers={"If-Match": '"1"'})
    stock = {"subject_id": system["id"], "kind": "added", "at": house.now.isoformat(), "what": "staghorn", "count": 3}
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", stock)
    handover = {"site_id": found["id"], "text": "@night: the drip is slow", "written_at": house.now.isoformat()}
    house.call("PUT", f"/v1/handovers/{uuid4()}", handover)
    begun = {"procedure": "low_ph_cut_off_test", "subject_id": system["id"], "started_at": house.now.isoformat()}
    run_path = f"/v1/commissionings/{uuid4()}"
    house.call("PUT", run_path, begun)
    seen = {"done_at": house.now.isoformat(), "note": FORMULA}
    house.call("POST", f"{run_path}/steps/probe_checked", seen)
    house.call("POST", f"{run_path}/steps/probe_checked/withdrawal", {"reason": "another probe"})
    piece = {"site_id": found["id"], "tag": "probe", "kind": "probe", "specification": {"quantity": "ph"}}
    probe = house.call("POST", "/v1/equipment", piece)
    mounted = {"equipment_id": probe["id"], "host_id": system["id"], "from": house.now.isoformat()}
    house.call("POST", "/v1/installations", mounted)
    times = [(house.now - timedelta(minutes=index)).isoformat() for index in range(200)]
    values = [8.1 + 0.001 * (index % 50) for index in range(200)]
    series = {"subject_id": system["id"], "quantity": "ph", "unit": "[pH]", "taken_at": times, "value": values}
    house.call("POST", "/v1/series", series)
    table = {"name": "log.csv", "text": "date,tank,alk (dKH)\n2026-02-20,loop,8.2\n2026-02-21,poop,8.1\n"}
    made = house.call("POST", "/v1/imports", {"site": "house", "file": table})["import"]
    house.call("POST", f"/v1/imports/{made['id']}/undoing", {"reason": "a trial"})
    house.call("POST", "/v1/people", {"name": "Ida", "role": "keeper", "site_id": found["id"]})
    house.call("POST", "/v1/tokens", {"name": "pull", "role": "reader", "site_id": found["id"]})
    house.call("PATCH", f"/v1/sites/{found['id']}", {"country": "NO"}, headers=tag)
    other = house.a_system(house.a_site(tag="other", name="Another house"), tag="secret-loop")
    house.a_reading(other["id"], 9.1)
    return found


@pytest.fixture
def empty(migrated_file: Path, tmp_path: Path) -> Iterator[House]:
    """Another service, with nothing in it."""
    path = tmp_path / "empty.db"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    yield House(database)
    database.close()


def archive_of(house: House, path: Path) -> Path:
    """The archive of the site, on disk."""
    response = house.send("GET", "/v1/exports?site=house")
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "application/zip"
    path.write_bytes(response.content)
    return path


def restore(house: House, path: Path) -> dict[str, Any]:
    with house.database.write() as session:
        return restore_site(Work(session, OPERATOR, house.now), path)


def opened(path: Path) -> dict[str, list[dict[str, str]]]:
    """Every table of an archive."""
    with zipfile.ZipFile(path) as archive:
        return {
            name.removeprefix("tables/"): list(csv.DictReader(io.StringIO(archive.read(name).decode(), newline="")))
            for name in archive.namelist()
            if name.startswith("tables/")
        }


def untrailed(house: House) -> list[str]:
    """What `ooid check` would find, but for the tokens that tests make behind the trail."""
    with house.database.read() as session:
        return [fault for fault in checking.faults(session) if not fault.startswith("token ")]


def test_an_archive_is_whole_and_says_what_it_holds(house: House, site: Any, tmp_path: Path) -> None:
    path = archive_of(house, tmp_path / "house.zip")
    with zipfile.ZipFile(path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        for file in manifest["files"]:
            content = archive.read(file["name"])
            assert (hashlib.sha256(content).hexdigest(), len(content)) == (file["sha256"], file["bytes"]), file["name"]
        names = archive.namelist()
        text = "".join(archive.read(name).decode() for name in names if not name.startswith("photos/"))
        pictures = {name: archive.read(name) for name in names if name.startswith("photos/")}
    assert manifest["site"]["tag"] == "house"
    assert "secret-loop" not in text  # nothing of another site
    assert "secret_hash" not in text
    found = opened(path)
    digests = {f"photos/{row['id']}.jpg": row["sha256"] for row in found["photos.csv"]}
    kept = {name: base64.b64encode(hashlib.sha256(jpeg).digest()).decode() for name, jpeg in pictures.items()}
    assert len(kept) == 2
    assert kept == {name: tables.unguarded(digest) for name, digest in digests.items()}
    filled = {name for name, rows in found.items() if rows}
    print(f"{sum(file['rows'] for file in manifest['files'])} rows; files with rows: {sorted(filled)}")
    assert len(filled) >= 24
    (reading,) = [row for row in found["readings.csv"] if row["changed_at"] and row["state"] == "recorded"]
    assert (reading["subject_tag"], reading["unit"]) == ("loop", "meq/L")
    formulas = [cell for rows in found.values() for row in rows for cell in row.values() if cell[:1] in "=+@" and cell]
    assert formulas == []  # a spreadsheet runs nothing of it
    assert any(row["name"] == "'=blue bottle" for row in found["methods.csv"])


def test_every_column_is_in_the_dictionary() -> None:
    told = {(file, column) for file, column, *_ in lines()}
    for table in tables.exported():
        for column in tables.columns_of(table):
            assert (f"{table.name}.csv", column.name) in told
            assert column.name in MEANINGS, f"{table.name}.{column.name} has no meaning in the dictionary"


def test_every_table_is_exported_or_left_out_for_a_reason() -> None:
    names = {table.name for table in tables.exported()}
    assert names | tables.LEFT_OUT == set(metadata.tables)
    for table in metadata.sorted_tables:
        if table.name in names and "site_id" not in table.c:
            assert table.name in {"sites", "people", "methods", "lots", "audit_entries", "chain_heads", "events"}


def test_an_equal_site_in_an_empty_service(house: House, site: Any, empty: House, tmp_path: Path) -> None:
    first = archive_of(house, tmp_path / "first.zip")
    restore(empty, first)
    second = archive_of(empty, tmp_path / "second.zip")
    with zipfile.ZipFile(first) as one, zipfile.ZipFile(second) as other:
        mine, theirs = (json.loads(each.read("manifest.json")) for each in (one, other))
    differing = [a["name"] for a, b in zip(mine["files"], theirs["files"], strict=True) if a["sha256"] != b["sha256"]]
    assert set(differing) <= {"tables/tokens.csv"}  # the administrator's of the installation is void there
    assert mine["audit"] == theirs["audit"]
    assert untrailed(empty) == []
    week = "2026-W09"
    report, again = (each.call("GET", f"/v1/reports/weekly?site=house&week={week}") for each in (house, empty))
    print(f"weekly report {week}: {len(json.dumps(report))} characters, equal: {report == again}")
    assert report == again
    assert any(line["consumption"] is not None for line in _consumptions(report))
    for path in ("/v1/readings?site=house&withdrawn=true&limit=1000", "/v1/changes?site=house&after=0&limit=1000"):
        one, other = (each.call("GET", path) for each in (house, empty))
        assert one == other
    for reading in house.call("GET", "/v1/readings?site=house&withdrawn=true&limit=1000"):
        path = f"/v1/readings/{reading['id']}/versions"
        assert house.call("GET", path) == empty.call("GET", path)
    system = house.call("GET", "/v1/systems?site=house")[0]["id"]
    path = f"/v1/series?subject_id={system}&quantity=ph&limit=1000"
    assert house.call("GET", path) == empty.call("GET", path)
    photos = house.call("GET", "/v1/photos?site=house&withdrawn=true")
    assert photos == empty.call("GET", "/v1/photos?site=house&withdrawn=true")
    for path in (f"/v1/photos/{row['id']}/picture" for row in photos):
        assert house.send("GET", path).content == empty.send("GET", path).content
    assert len(photos) == 2
    empty.pass_time(hours=1)
    empty.a_reading(system, 8.2)  # and life goes on
    assert untrailed(empty) == []


def _consumptions(report: Any) -> list[dict[str, Any]]:
    found = []
    stack = [report]
    while stack:
        here = stack.pop()
        if isinstance(here, dict):
            found += [here] if "consumption" in here else []
            stack += list(here.values())
        elif isinstance(here, list):
            stack += here
    return found


def test_a_restored_token_opens_nothing(house: House, site: Any, empty: House, tmp_path: Path) -> None:
    secret = house.call("POST", "/v1/tokens", {"name": "old", "role": "keeper", "site_id": site["id"]})["secret"]
    restore(empty, archive_of(house, tmp_path / "house.zip"))
    empty.call("GET", "/v1/sites", token=secret, status=401)
    empty.call("GET", "/v1/sites", token=house.administrator, status=401)
    names = {row["name"] for row in empty.call("GET", "/v1/tokens?limit=1000")}
    assert "old" in names


Edit = Callable[[dict[str, bytes]], None]


def rewritten(path: Path, edit: Edit, *, with_checksums: bool) -> Path:
    """The archive with its files edited; with new checksums, as somebody would who means it."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    edit(parts)
    if with_checksums:
        manifest = json.loads(parts["manifest.json"])
        for file in manifest["files"]:
            if file["name"] in parts:
                file["sha256"] = hashlib.sha256(parts[file["name"]]).hexdigest()
        parts["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return path


def replacing(name: str, old: bytes, new: bytes) -> Edit:
    def edit(parts: dict[str, bytes]) -> None:
        assert old in parts[name], name
        parts[name] = parts[name].replace(old, new, 1)

    return edit


def of_a_picture(change: Callable[[bytes], bytes | None]) -> Edit:
    """The first picture of the archive made another, or (None) left out."""

    def edit(parts: dict[str, bytes]) -> None:
        name = next(name for name in parts if name.startswith("photos/"))
        changed = change(parts.pop(name))
        if changed is not None:
            parts[name] = changed

    return edit


def without(name: str) -> Edit:
    return lambda parts: parts.pop(name) and None


@pytest.mark.parametrize(
    ("edit", "with_checksums", "words"),
    [
        (replacing("tables/readings.csv", b'""value"":8.4', b'""value"":8.9'), False, "SHA-256"),
        (replacing("tables/readings.csv", b'""value"":8.4', b'""value"":8.9'), True, "was edited"),
        (replacing("tables/audit_entries.csv", b"misread", b"mistype"), True, "was edited"),
        (replacing("tables/record_versions.csv", b"8.3", b"8.2"), True, "was edited"),
        (replacing("tables/events.csv", b"corrected", b"confirmed"), True, "were edited"),
        (of_a_picture(lambda jpeg: jpeg + b"!"), False, "SHA-256"),
        (of_a_picture(lambda jpeg: jpeg + b"!"), True, "the picture of photo .* was edited"),
        (of_a_picture(lambda _jpeg: None), False, "photos/.* is missing"),
        (without("tables/readings.csv"), False, "missing"),
        (without("manifest.json"), False, "manifest"),
        (replacing("manifest.json", b'"ooid site"', b'"other thing"'), False, "no archive of a site"),
        (replacing("tables/readings.csv", b"sent_digest", b"other_thing"), True, "no column"),
        (replacing("tables/systems.csv", b"clean", b'"clean'), True, "cannot be read to its end"),
    ],
)
def test_a_damaged_or_edited_archive_is_refused_whole(
    house: House, site: Any, empty: House, tmp_path: Path, edit: Edit, with_checksums: bool, words: str
) -> None:
    path = rewritten(archive_of(house, tmp_path / "house.zip"), edit, with_checksums=with_checksums)
    before = empty.everything_stored()
    with pytest.raises(Unacceptable, match=words):
        restore(empty, path)
    assert empty.everything_stored() == before


def test_no_archive_reaches_another_site(house: House, site: Any, empty: House, tmp_path: Path) -> None:
    path = archive_of(house, tmp_path / "house.zip")
    foreign = str(uuid4()).encode()
    edit = replacing("tables/grants.csv", site["id"].encode(), foreign)
    with pytest.raises(Unacceptable, match="another site"):
        restore(empty, rewritten(path, edit, with_checksums=True))


def test_what_is_here_already_is_not_touched(house: House, site: Any, empty: House, tmp_path: Path) -> None:
    path = archive_of(house, tmp_path / "house.zip")
    with pytest.raises(Conflict, match="here already"):
        restore(house, path)
    empty.call("POST", "/v1/methods", {"name": "=blue bottle", "quantity": "alkalinity", "relative_sd": 0.1})
    before = empty.everything_stored()
    with pytest.raises(Conflict, match="method"):
        restore(empty, path)
    assert empty.everything_stored() == before


def test_only_the_administrator_of_the_installation_restores(
    house: House, site: Any, empty: House, tmp_path: Path
) -> None:
    path = archive_of(house, tmp_path / "house.zip")
    supervisor = replace(OPERATOR, roles={None: Role.SUPERVISOR})
    with pytest.raises(NotAllowed), empty.database.write() as session:
        restore_site(Work(session, supervisor, empty.now), path)


def test_a_bomb_is_refused(house: House, site: Any, empty: House, tmp_path: Path, monkeypatch: Any) -> None:
    path = archive_of(house, tmp_path / "house.zip")
    bomb = rewritten(path, lambda parts: parts.update({"tables/x.csv": b"0" * 5_000_000}), with_checksums=False)
    with pytest.raises(TooLarge, match="times its size"):
        restore(empty, bomb)
    monkeypatch.setattr(restoring, "LARGEST_WHOLE", 1000)
    with pytest.raises(ServiceError, match="larger than"):
        restore(empty, archive_of(house, tmp_path / "again.zip"))


@pytest.mark.parametrize("text", ["", "'", "''", "=1", "+", "-5", "@x", "\tx", "'=1", "plain", "\uff1d1", "-\r\n-"])
def test_text_comes_back_as_it_was(text: str) -> None:
    assert tables.unguarded(tables.guarded(text)) == text
    assert tables.guarded(text)[:1] not in set("=+-@\t\r\uff1d")
