"""The committed description of the API is the one the service gives, and says of every operation what it must."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from support.document import METHODS
from support.requirements import CHECKOUT

from service.main import create_app
from service.settings import Settings

COMMITTED = CHECKOUT / "openapi" / "openapi.json"


@pytest.fixture
def described(tmp_path: Path) -> dict[str, Any]:
    """The document that the app gives."""
    app = create_app(Settings(data_dir=tmp_path))
    document: dict[str, Any] = app.openapi()
    app.state.database.close()
    return document


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every operation with its method and path."""
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                yield method.upper(), path, item[method]


def test_the_committed_description_is_the_one_the_service_gives(described: dict[str, Any]) -> None:
    remedy = "the API changed: run `ooid openapi`, and say what changed in openapi/CHANGELOG.md"
    assert COMMITTED.exists(), remedy
    assert json.loads(COMMITTED.read_text()) == json.loads(json.dumps(described)), remedy


def test_every_operation_has_a_name_of_its_own(described: dict[str, Any]) -> None:
    names = Counter(operation["operationId"] for _, _, operation in operations(described))
    assert [name for name, count in names.items() if count > 1] == []


def test_every_shape_has_a_name_of_its_own(described: dict[str, Any]) -> None:
    """Two classes of one name would be told apart by the modules they stand in, which are nobody's business."""
    assert [name for name in described["components"]["schemas"] if "__" in name] == []


def test_every_operation_says_what_it_answers(described: dict[str, Any]) -> None:
    silent = [
        f"{method} {path}"
        for method, path, operation in operations(described)
        if path.startswith("/v1/") and not {"401", "403", "503"} <= set(operation["responses"])
    ]
    assert silent == []
    assert [path for _, path, operation in operations(described) if "default" in operation["responses"]] == []


def test_every_refusal_is_a_problem_document(described: dict[str, Any]) -> None:
    others = [
        f"{method} {path} {status}"
        for method, path, operation in operations(described)
        for status, response in operation["responses"].items()
        if path.startswith("/v1/")
        and status >= "400"
        and set(response.get("content", {})) != {"application/problem+json"}
    ]
    assert others == []
