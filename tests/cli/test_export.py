"""`ooid export`, and `ooid import` of what it wrote, into a service that has nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from cli.conftest import Run
from support.house import House

from service.storage.database import Database


def test_a_site_moves_house_by_two_commands(
    migrated: Run, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = Database(f"sqlite:///{tmp_path / 'data' / 'ooid.db'}")
    try:
        house = House(database)
        system = house.a_system(house.a_site(tag="house"), tag="loop")
        reading = house.a_reading(system["id"], 8.3)
    finally:
        database.close()
    path = tmp_path / "house.zip"
    said = migrated("export", "--site", "house", "--file", str(path))
    assert (said.code, said.out) == (0, f"{path}\n")
    assert "rows in" in said.err
    assert migrated("export", "--site", "house", "--file", str(path)).code == 1  # never over another file
    assert "no site" in migrated("export", "--site", "nowhere").err
    assert "here already" in migrated("import", str(path)).err

    monkeypatch.setenv("OOID_DATA_DIR", str(tmp_path / "elsewhere"))
    assert run("migrate").code == 0
    moved = run("import", str(path))
    assert (moved.code, "The site house is here" in moved.err) == (0, True)
    assert run("check").code == 0
    (secret,) = run("token", "create", "--name", "look", "--role", "reader").out.splitlines()
    database = Database(f"sqlite:///{tmp_path / 'elsewhere' / 'ooid.db'}")
    try:
        assert House(database).call("GET", f"/v1/readings/{reading['id']}", token=secret) == reading
    finally:
        database.close()
    path.write_bytes(path.read_bytes()[:-30])
    broken = run("import", str(path), "--site", "house")
    assert broken.code == 1
    assert re.search(r"ooid: .*XLSX|ooid: .*opened", broken.err)
