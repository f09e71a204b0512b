"""What the tree must look like for things to be found: folders, names, and files that hold one idea."""

from __future__ import annotations

import subprocess
from pathlib import Path

import alembic
import pytest
from support.requirements import CHECKOUT

from service.settings import packaged_folder

TOP = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml"),
    *("service", "alembic", "tests", "openapi", "docker", "shared"),
}
HOLLOW_NAMES = {"utils", "util", "helpers", "helper", "common", "core", "manager", "misc", "base_manager"}


def tracked() -> list[Path]:
    """Every file of the project, relative to the checkout."""
    listing = subprocess.run(["git", "ls-files"], cwd=CHECKOUT, capture_output=True, text=True, check=False)
    if listing.returncode != 0:
        pytest.skip("this is no git checkout, so there is no list of the project's files")
    return [Path(line) for line in listing.stdout.splitlines()]


def test_the_folder_of_migrations_never_hides_the_library_of_its_name() -> None:
    assert not (CHECKOUT / "alembic" / "__init__.py").exists(), "it would shadow the installed package"
    assert CHECKOUT not in Path(alembic.__file__).parents


def test_the_top_level_is_fixed() -> None:
    assert {path.parts[0] for path in tracked() if not path.parts[0].startswith(".")} <= TOP


def test_no_module_has_a_hollow_name() -> None:
    assert [path for path in tracked() if HOLLOW_NAMES & {part.removesuffix(".py") for part in path.parts}] == []


@pytest.mark.parametrize("name", ["migrations", "scenario"])
def test_packaged_folders_are_found_in_a_checkout(name: str) -> None:
    assert any(packaged_folder(name).iterdir())


def test_a_packaged_folder_that_is_missing_is_an_error() -> None:
    with pytest.raises(KeyError):
        packaged_folder("fairy tales")
