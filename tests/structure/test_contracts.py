"""The layers of DEVELOPERS.md, held by import-linter; and each contract seen to fail when it is broken."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from importlib.util import find_spec
from pathlib import Path

import pytest
from support.requirements import CHECKOUT, require

BROKEN = {
    "service/storage/broken.py": "import scipy\nimport service.http.problems\nimport service.simulation.engine\n",
    "service/resources/keeping/broken.py": "import service.resources.records.routes\n",
    "service/science/broken.py": "import random\n",
    "service/simulation/broken.py": "import service.science.units\n",
    "service/resources/records/readings/models.py": "import fastapi\nimport service.resources.records.routes\n",
}


def contracts() -> list[str]:
    """The names of all contracts."""
    configuration = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())
    return [contract["name"] for contract in configuration["tool"]["importlinter"]["contracts"]]


def lint_imports(folder: Path) -> subprocess.CompletedProcess[str]:
    """What `lint-imports` says about the checkout in a folder."""
    require(find_spec("importlinter"), "import-linter is missing: pip install -e '.[lint]'")
    return subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-logo", "--no-cache"],
        cwd=folder,
        env={**os.environ, "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )


def test_every_contract_is_kept() -> None:
    outcome = lint_imports(CHECKOUT)
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert [name for name in contracts() if f"{name} KEPT" not in outcome.stdout] == []


@pytest.fixture(scope="module")
def broken(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What is said of a copy with a wrong import for every contract."""
    copy = tmp_path_factory.mktemp("broken")
    shutil.copytree(CHECKOUT / "service", copy / "service", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(CHECKOUT / "pyproject.toml", copy / "pyproject.toml")
    for name, imports in BROKEN.items():
        with (copy / name).open("a") as module:
            module.write(imports)
    outcome = lint_imports(copy)
    assert outcome.returncode == 1, outcome.stdout + outcome.stderr
    return outcome.stdout


@pytest.mark.parametrize("name", contracts())
def test_a_wrong_import_breaks_the_contract(broken: str, name: str) -> None:
    assert f"{name} BROKEN" in broken


def test_a_module_at_the_top_needs_its_place_among_the_layers(tmp_path: Path) -> None:
    shutil.copytree(CHECKOUT / "service", tmp_path / "service", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(CHECKOUT / "pyproject.toml", tmp_path / "pyproject.toml")
    (tmp_path / "service" / "afterthought.py").touch()
    outcome = lint_imports(tmp_path)
    assert outcome.returncode != 0
    assert "afterthought" in outcome.stdout
