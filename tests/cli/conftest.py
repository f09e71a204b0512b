"""A command line in this process, on a data folder of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from service.cli import demo_site
from service.cli.app import main
from service.simulation import Scenario, load_scenario
from service.storage.migrating import upgrade


@dataclass(frozen=True)
class Said:
    """What a command said, and how it ended."""

    code: int
    out: str
    err: str


Run = Callable[..., Said]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run `ooid` with these arguments."""
    for name in ("OOID_DATABASE_URL", "OOID_HOST", "OOID_PORT", "OOID_INSECURE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("OOID_DATA_DIR", str(tmp_path / "data"))

    def command(*arguments: str) -> Said:
        capsys.readouterr()
        code = 0
        try:
            main(arguments)
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
        said = capsys.readouterr()
        return Said(code, said.out, said.err)

    return command


@pytest.fixture(scope="session")
def made_by_migrations(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file that the migrations made."""
    path = tmp_path_factory.mktemp("command") / "ooid.db"
    upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture
def migrated(run: Run, tmp_path: Path, made_by_migrations: Path) -> Run:
    """As `run`, the database made."""
    (tmp_path / "data").mkdir()
    shutil.copyfile(made_by_migrations, tmp_path / "data" / "ooid.db")
    return run


@contextmanager
def shortened(days: int) -> Iterator[None]:
    """The demonstration's site with its first days alone: half a year takes half a minute, and `.ci/run` builds it."""

    def scenario(name: str) -> Scenario:
        return replace(load_scenario(name), days=days)

    with pytest.MonkeyPatch.context() as during:
        during.setattr(demo_site, "load_scenario", scenario)
        yield


@pytest.fixture
def short_season() -> Iterator[None]:
    """The demonstration built in this test is three weeks long."""
    with shortened(days=21):
        yield
