"""What the tree must look like for things to be found: folders, names, and files that hold one idea."""

from __future__ import annotations

import itertools
import subprocess
import tomllib
from pathlib import Path

import alembic
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
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
    assert Path(alembic.__file__).parent != CHECKOUT / "alembic"


def test_the_top_level_is_fixed() -> None:
    assert {path.parts[0] for path in tracked() if not path.parts[0].startswith(".")} <= TOP


def test_no_module_has_a_hollow_name() -> None:
    assert [path for path in tracked() if HOLLOW_NAMES & {part.removesuffix(".py") for part in path.parts}] == []


@pytest.mark.parametrize("name", ["migrations", "scenario"])
def test_packaged_folders_are_found_in_a_checkout(name: str) -> None:
    assert any(packaged_folder(name).iterdir())


def test_the_wheel_takes_along_what_the_service_reads_beside_its_code() -> None:
    build = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]
    taken = build["targets"]["wheel"]["force-include"]
    assert [name for name in taken if not (CHECKOUT / name).is_dir()] == [], "the wheel could not be built"
    read = {"alembic": "_migrations", "shared/scenario": "_shared/scenario", "shared/procedures": "_shared/procedures"}
    for name, inside in read.items():
        if (CHECKOUT / name).is_dir():
            assert taken.get(name) == f"service/{inside}", "an installed service would not find it"


def test_the_lock_pins_every_package_within_what_the_project_allows() -> None:
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    wanted = [*project["dependencies"], *itertools.chain(*project["optional-dependencies"].values())]
    lock = (CHECKOUT / "docker" / "constraints.txt").read_text()
    pins = [Requirement(line) for line in lock.splitlines()]
    assert all(str(pin.specifier).startswith("==") and not pin.extras and not pin.url for pin in pins)
    for requirement in map(Requirement, wanted):
        name = canonicalize_name(requirement.name)
        versions = [str(pin.specifier).removeprefix("==") for pin in pins if canonicalize_name(pin.name) == name]
        assert versions, f"{name} is not in the lock: run the command in DEVELOPERS.md"
        assert all(requirement.specifier.contains(version) for version in versions), f"{name}: {versions}"


def test_a_packaged_folder_that_is_missing_is_an_error() -> None:
    with pytest.raises(KeyError):
        packaged_folder("fairy tales")
