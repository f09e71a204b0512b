"""What a test needs beyond Python: absent, it skips with the remedy, or fails where everything must run.

Continuous integration sets OOID_REQUIRE_ALL=1: there a missing server, browser or library is a failure, so that a
suite which was asked for cannot pass by not running. Open data beside the checkout is another matter: it is not part
of the project and nobody can be asked to have it, so a test that reads it skips with the reason, always.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]


def require(condition: object, remedy: str) -> None:
    """Go on when the condition holds; else skip saying the remedy, or fail with it under OOID_REQUIRE_ALL=1."""
    if condition:
        return
    if os.environ.get("OOID_REQUIRE_ALL") == "1":
        pytest.fail(f"needed here (OOID_REQUIRE_ALL=1): {remedy}", pytrace=False)
    pytest.skip(remedy)


def beside_checkout(*parts: str) -> Path:
    """A file or folder under the folder `shared` next to the checkout; skips the test when it is not there."""
    path = CHECKOUT.parent.joinpath("shared", *parts)
    if not path.exists():
        name = "/".join(parts)
        pytest.skip(f"open data, not part of the project: ../shared/{name} is not beside this checkout")
    return path
