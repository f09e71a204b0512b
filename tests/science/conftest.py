"""What several science tests read: the project's published check values and the open data beside the checkout."""

import csv
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
REFERENCE = CHECKOUT / "shared" / "reference"
OPEN_DATA = CHECKOUT.parent / "shared" / "data"


@dataclass(frozen=True)
class Check:
    """One row of shared/reference/checks.csv."""

    expected: float
    tolerance: float

    def __eq__(self, found: object) -> bool:
        return bool(abs(float(found) - self.expected) <= self.tolerance)  # type: ignore[arg-type]

    __hash__ = None  # type: ignore[assignment]


@pytest.fixture(scope="session")
def check() -> Callable[[str], Check]:
    """The published value of that id, equal to anything within its tolerance."""
    with (REFERENCE / "checks.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["id"]: Check(float(row["expected"]), float(row["tolerance"])) for row in csv.DictReader(file)}
    assert len(rows) == 50
    return rows.__getitem__


@pytest.fixture(scope="session")
def reference() -> Path:
    """The folder of check values and oracle tables."""
    return REFERENCE


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """A file of the open data that may lie in ../shared/data beside the checkout; skips when it does not."""

    def find(name: str) -> Path:
        path = OPEN_DATA / name
        if not path.exists():
            pytest.skip(
                f"open data {name} is not beside the checkout (expected in ../shared/data): fetch it to run this"
            )
        return path

    return find
