"""Generated requests, sensible and senseless: never a 5xx, never an answer that the description does not name.

The default is a fixed set of 500; `--cases 10000` sends more.
"""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.document import Document
from support.fuzzing import Generator
from support.house import House

from service.main import create_app
from service.settings import Settings
from service.storage.database import Database

OPERATIONS = sorted(
    Document(create_app(Settings(), database=Database("sqlite:///never-opened.db")).openapi()).operations(),
    key=lambda operation: (operation[1], operation[0]),
)


@pytest.fixture(scope="module")
def generator(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Generator]:
    """Requests to one house that lives through all of them."""
    path = tmp_path_factory.mktemp("fuzz") / "ooid.db"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    yield Generator(House(database))
    database.close()


@pytest.mark.parametrize(("method", "path"), OPERATIONS)
def test_every_answer_is_a_described_one(
    generator: Generator, pytestconfig: pytest.Config, method: str, path: str
) -> None:
    share, rest = divmod(pytestconfig.getoption("cases"), len(OPERATIONS))
    count = max(2, share + (OPERATIONS.index((method, path)) < rest))
    answers = generator.send(method, path, count)  # each is judged by the house against the description
    statuses = Counter(answer.status_code for answer in answers)
    assert answers, "nothing was sent"
    assert [status for status in statuses if status >= 500] == []
    print(f"\n{method} {path}: {dict(statuses)}")
