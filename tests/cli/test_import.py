"""`ooid import`: the same on the command line, with files for mappings, results and failed rows."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from cli.conftest import Run
from support.house import House

from service.storage.database import Database

TABLE = "date,tank,alk (dKH)\n2026-02-20,loop,8.2\n2026-02-21,poop,8.1\n2026-02-22,loop,8.0\n"


@pytest.fixture
def table(migrated: Run, tmp_path: Path) -> Path:
    """A table for a site that is described."""
    database = Database(f"sqlite:///{tmp_path / 'data' / 'ooid.db'}")
    try:
        house = House(database)
        house.a_system(house.a_site(tag="house"), tag="loop")
    finally:
        database.close()
    path = tmp_path / "log.csv"
    path.write_text(TABLE)
    return path


def test_a_table_is_tried_imported_and_undone(migrated: Run, table: Path, tmp_path: Path) -> None:
    mapping, failed, results = (tmp_path / name for name in ("mapping.json", "failed.csv", "results.csv"))
    dry = migrated("import", str(table), "--site", "house", "--dry-run", "--save-mapping", str(mapping))
    assert dry.code == 0
    assert "alk (dKH): reading of alkalinity in dKH" in dry.out
    assert "2 would be recorded" in dry.err
    assert json.loads(mapping.read_bytes())["date_order"] == "year_month_day"
    wet = migrated(
        "import", str(table), "--site", "house", "--mapping", str(mapping),
        "--failed", str(failed), "--results", str(results),
    )  # fmt: skip
    assert (wet.code, "2 recorded (2 records" in wet.err, "rejected 1: tank: no system" in wet.out) == (0, True, True)
    with failed.open(newline="") as file:
        rows = list(csv.reader(file))
    assert (rows[0], rows[1][:3]) == (["date", "tank", "alk (dKH)", "error"], ["2026-02-21", "poop", "8.1"])
    with results.open(newline="") as file:
        assert [row["status"] for row in csv.DictReader(file)] == ["recorded", "rejected", "recorded"]
    assert not list(tmp_path.glob("*.part"))
    again = migrated("import", str(table), "--site", "house")
    assert "0 recorded (0 records, 0 flagged), 2 known" in again.err
    (import_id,) = re.findall(r"import: (\S+)", wet.out)
    assert migrated("import", "--undo", import_id, "--reason", "a trial").code == 0
    found = migrated("check").out.splitlines()
    assert [line for line in found if not line.startswith("token ")] == []  # the test's own, made behind the trail


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "Say which FILE"),
        (("{table}",), "--site"),
        (("{table}", "--site", "nowhere"), "no site"),
        (("{folder}/nothing.csv", "--site", "house"), "No such file"),
        (("{table}", "--site", "house", "--mapping", "{table}"), "not JSON"),
        (("{table}", "--site", "house", "--subject", "nowhere"), "/mapping/subject"),
        (("--undo", "7"), "--reason"),
        (("--undo", "7", "--reason", "x"), "UUID"),
        (("{table}", "--site", "house", "--all-or-none"), "Nothing was recorded"),
    ],
)
def test_an_expected_fault_is_one_line(
    migrated: Run, table: Path, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    said = migrated("import", *(part.format(table=table, folder=tmp_path) for part in arguments))
    assert said.code == 1
    assert words in said.err.splitlines()[-1]
    assert "Traceback" not in said.err
