"""The scenarios that lie in shared/scenario, by name."""

import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources.abc import Traversable
from typing import Any

from service.simulation.data import shared_folder
from service.simulation.scenario import Scenario
from service.simulation.strict import ScenarioError, build

PARTS = ("system", "gas_line")


def read_scenario(text: str, name: str, parts: tuple[tuple[str, str], ...] = ()) -> Scenario:
    """Return the scenario a TOML text describes, with the systems and gas lines of its parts (name, text) after.

    A table `kit` holds what tests have in common: a test that names one has its keys beside those of its own. Raises
    ScenarioError naming file, key and remedy.
    """
    table = _table(text, name)
    for part, content in parts:
        for key, values in _table(content, part).items():
            if key not in PARTS or not isinstance(values, list):
                raise ScenarioError(f"{part}: a part holds lists of {' and '.join(PARTS)} alone, not {key!r}")
            table[key] = [*table.get(key, []), *values]
    kits = table.pop("kit", {})
    for thing in (each for key in PARTS for each in table.get(key, [])):
        _unpack(thing, kits, name)
    return build(Scenario, table, name)


def _unpack(thing: Any, kits: Mapping[str, Any], name: str) -> None:
    """Replace the name of a kit in each test of a system, or weighing of a line, by what the kit says."""
    if not isinstance(thing, dict):
        return  # a mistake that `build` names
    for test in [*thing.get("test", []), thing.get("weighing")]:
        if isinstance(test, dict) and "kit" in test:
            kit = test.pop("kit")
            if kit not in kits:
                raise ScenarioError(f"{name}: no kit {kit!r}; there are: {', '.join(sorted(kits))}")
            own = dict(test)
            test.clear()
            test.update({**kits[kit], **own})


@cache
def load_scenario(name: str) -> Scenario:
    """Return a scenario by name, such as ``consumption/steady`` or ``demo``. Raises ScenarioError if there is none."""
    if name not in scenario_names():
        raise ScenarioError(f"no scenario {name!r}; there are: {', '.join(scenario_names())}")
    folder, _, last = name.rpartition("/")
    place = shared_folder("scenario")
    for part in filter(None, folder.split("/")):
        place = place / part
    return read_scenario((place / f"{last}.toml").read_text(encoding="utf-8"), name, tuple(_parts(place / last, name)))


def scenario_names() -> tuple[str, ...]:
    """Return the names of all scenarios, sorted; those of a study begin with its folder, as ``consumption/``."""
    return tuple(sorted(_names(shared_folder("scenario"), "")))


def _names(folder: Traversable, before: str) -> Iterator[str]:
    """Yield the names in a folder and those below it; a folder named like a scenario beside it holds its parts."""
    here = [entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")]
    yield from (before + name for name in here)
    for entry in folder.iterdir():
        if entry.is_dir() and entry.name not in here:
            yield from _names(entry, f"{before}{entry.name}/")


def _parts(folder: Traversable, name: str) -> Iterator[tuple[str, str]]:
    if folder.is_dir():
        for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
            if entry.name.endswith(".toml"):
                yield f"{name}/{entry.name}", entry.read_text(encoding="utf-8")


def _table(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}: not TOML: {error}") from error
