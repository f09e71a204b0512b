"""Every formula says where it comes from and what it must give; this reads the docstrings and holds them to it."""

import ast
import dataclasses
import importlib
import inspect
import pkgutil
import re
import typing
from collections.abc import Callable, Iterator
from pathlib import Path
from types import UnionType
from typing import Any

import numpy as np
import pytest

import service.science
from service.science import DIMENSIONLESS, STATISTICS, UNIT_SUFFIXES, Values
from service.science.carbonate import SOURCES_USED, carbonate_system, equilibria_at
from service.science.quantities import Conditions, Quantity
from service.science.sources import SOURCES

TESTS = Path(__file__).parent
SCIENCE = Path(service.science.__file__).parent
STEPS_OF_A_RECURSION = {"pull_back", "look_back"}
"""Linear algebra inside a smoother's loop, on state vectors whose entries have units of their own."""
VALUE_WITH_ITS_UNIT_BESIDE_IT = {"value"}
TAKES_THE_VALUE_FIRST = {"convert", "canonical", "is_possible", "is_plausible"}
SAMPLE = {
    "salinity": 35.0,
    "temperature_c": 25.0,
    "reference_temperature_c": 20.0,
    "specific_gravity": 1.026,
    "ph_total": 8.0,
    "alkalinity_mol_kg": 2.3e-3,
}
"""Arguments for formulas without a check value of their own, to see that they work element by element."""


def modules() -> list[str]:
    found = pkgutil.walk_packages(service.science.__path__, "service.science.")
    return [module.name for module in found]


def public_functions() -> Iterator[Any]:
    for name in modules():
        module = importlib.import_module(name)
        for function_name, function in vars(module).items():
            if inspect.isfunction(function) and function.__module__ == name and not function_name.startswith("_"):
                yield pytest.param(function, id=f"{name.removeprefix('service.science.')}.{function_name}")


def is_number(annotation: Any) -> bool:
    """Whether a parameter takes numbers: an array, a float, or either of them or nothing."""
    alternatives = typing.get_args(annotation) if typing.get_origin(annotation) in (typing.Union, UnionType) else ()
    return bool({annotation, *alternatives} & {float, Values})


def is_word(annotation: Any) -> bool:
    """Whether a parameter takes a name or a switch: it does not make a formula anything else."""
    return annotation in (str, bool, str | None, str | Quantity, Conditions | None)


def numbers_of(function: Callable[..., Any]) -> list[inspect.Parameter]:
    return [p for p in inspect.signature(function).parameters.values() if is_number(p.annotation)]


def is_formula(function: Callable[..., Any]) -> bool:
    """Numbers in, numbers out: estimators that take records and settings are tested as wholes instead."""
    parameters = inspect.signature(function).parameters.values()
    only_numbers = all(is_number(p.annotation) or is_word(p.annotation) for p in parameters)
    return only_numbers and bool(numbers_of(function)) and function.__name__ not in STEPS_OF_A_RECURSION


def formulas() -> list[Any]:
    return [param for param in public_functions() if is_formula(param.values[0])]


def text_of(function: Callable[..., Any]) -> str:
    return " ".join((inspect.getdoc(function) or "").split())


def statements(function: Callable[..., Any], label: str) -> list[str]:
    """What follows each `label:` in the docstring, up to the next one of the machine-read labels."""
    parts = re.split(r"\b(Source|Check value|Shapes): ", text_of(function))
    return [body.strip() for name, body in zip(parts[1::2], parts[2::2], strict=True) if name == label]


@dataclasses.dataclass(frozen=True)
class CheckValue:
    field: str | None
    expected: float
    arguments: dict[str, Any]
    tolerance: float


def check_values(function: Callable[..., Any]) -> list[CheckValue]:
    found = []
    for statement in statements(function, "Check value"):
        if statement.startswith("none, "):
            continue
        match = re.match(r"(?:(\w+) = )?(\S+) at (.*) \(\+-(\S+)\)\.(?:$| )", statement)
        assert match, f"cannot read the check value {statement!r}; write: NUMBER at name=value, ... (+-TOLERANCE)."
        call = ast.parse(f"f({match[3]})", mode="eval").body
        assert isinstance(call, ast.Call)
        arguments = {str(keyword.arg): ast.literal_eval(keyword.value) for keyword in call.keywords}
        found.append(CheckValue(match[1], float(match[2]), arguments, float(match[4])))
    return found


def parts(result: Any) -> dict[str, Any]:
    """The arrays of a result: itself, or the fields of a dataclass or named tuple."""
    if dataclasses.is_dataclass(result):
        return {field.name: getattr(result, field.name) for field in dataclasses.fields(result)}
    if hasattr(result, "_asdict"):
        return dict(result._asdict())
    return {"": result}


def test_there_are_formulas_to_read() -> None:
    assert len(formulas()) >= 30
    assert sum(len(check_values(param.values[0])) for param in formulas()) >= 30


@pytest.mark.parametrize("function", list(public_functions()))
def test_every_public_function_says_what_it_gives(function: Callable[..., Any]) -> None:
    assert text_of(function), "no docstring"


@pytest.mark.parametrize("function", formulas())
def test_every_formula_names_a_source(function: Callable[..., Any]) -> None:
    if not any(statement.startswith("none, definition") for statement in statements(function, "Check value")):
        assert statements(function, "Source"), "no `Source: KEY.` in the docstring"


def sources(function: Callable[..., Any]) -> list[str]:
    """The keys that a docstring names, read as the answers of the API read them."""
    found: list[str] = []
    for statement in statements(function, "Source"):
        keys = re.match(r"([A-Z0-9]+(?:, [A-Z0-9]+)*)\.(?: |$)", statement)
        assert keys, f"cannot read the source {statement!r}; write: KEY[, KEY]. and nothing else before the full stop"
        found += keys[1].split(", ")
    return found


@pytest.mark.parametrize("function", list(public_functions()))
def test_every_source_named_exists(function: Callable[..., Any]) -> None:
    unknown = set(sources(function)) - set(SOURCES)
    assert not unknown, f"not in SOURCES: {unknown}"


@pytest.mark.parametrize("function", list(public_functions()))
def test_no_relation_is_put_down_to_a_table_of_numbers(function: Callable[..., Any]) -> None:
    """Atomic weights state no balance: what was worked out here says so (DERIVED)."""
    assert set(sources(function)) != {"IUPAC05"}


@pytest.mark.parametrize("function", [carbonate_system, equilibria_at], ids=lambda each: each.__name__)
def test_the_carbonate_system_names_all_it_rests_on(function: Callable[..., Any]) -> None:
    needs_calcium = {"RILEY67"} if function is equilibria_at else set()
    assert set(SOURCES_USED) - needs_calcium <= set(sources(function))


def test_every_source_an_answer_will_name_exists() -> None:
    assert set(SOURCES_USED) <= set(SOURCES)


WORK = re.compile(
    r"((?:de |van )?[A-Z][a-z][\w-]*)(?:, [A-Z][\w-]+)*(?:,? & [A-Z][\w-]+)?(?: et al\.)?,? \(?((?:18|19|20)\d\d)\b"
)


def works_cited() -> set[tuple[str, str, str]]:
    """File, first author and year of whatever the science's docstrings and comments and TRUST.md cite."""
    read = [path for path in (*SCIENCE.glob("*.py"), SCIENCE / "TRUST.md") if path.name != "sources.py"]
    return {
        (path.name, *work) for path in read for work in WORK.findall(" ".join(path.read_text(encoding="utf-8").split()))
    }


def test_every_work_cited_is_listed() -> None:
    """Author and year lead to an entry of SOURCES."""
    listed = [each.citation for each in SOURCES.values()]
    missing = {
        work for work in works_cited() if not any(work[1] in citation and work[2] in citation for citation in listed)
    }
    assert not missing, f"cited and not in SOURCES: {sorted(missing)}"


def test_every_source_listed_is_used() -> None:
    written = "".join(path.read_text(encoding="utf-8") for path in SCIENCE.glob("*.py") if path.name != "sources.py")
    cited = works_cited()
    unused = [
        key
        for key, source in SOURCES.items()
        if not re.search(rf"\b{key}\b", written)
        and not any(source.citation.startswith(first) and year in source.citation for _, first, year in cited)
    ]
    assert not unused, f"listed and never named: {unused}"


@pytest.mark.parametrize("function", formulas())
def test_every_check_value_comes_out(function: Callable[..., Any]) -> None:
    declared = statements(function, "Check value")
    assert declared, "no `Check value:` in the docstring"
    for statement in declared:
        stand_in = re.search(r"tested by (test_\w+)", statement)
        if stand_in:
            written = "".join(path.read_text(encoding="utf-8") for path in TESTS.glob("test_*.py"))
            whole_file = (TESTS / f"{stand_in[1]}.py").exists()
            assert whole_file or f"def {stand_in[1]}(" in written, f"{stand_in[1]} does not exist"
    for check in check_values(function):
        found = parts(function(**check.arguments))[check.field or ""]
        assert abs(float(found) - check.expected) <= check.tolerance, f"{found} at {check.arguments}"


@pytest.mark.parametrize("function", formulas())
def test_every_number_is_named_with_its_unit(function: Callable[..., Any]) -> None:
    for parameter in numbers_of(function):
        name = parameter.name
        if name in VALUE_WITH_ITS_UNIT_BESIDE_IT and function.__name__ in TAKES_THE_VALUE_FIRST:
            continue
        known = name.endswith(tuple(UNIT_SUFFIXES)) or any(
            name == word or name.endswith(f"_{word}") for word in (*DIMENSIONLESS, *STATISTICS)
        )
        assert known, f"{name!r} ends in no unit of UNIT_SUFFIXES nor stands in DIMENSIONLESS"


@pytest.mark.parametrize("function", formulas())
def test_every_formula_is_called_by_keyword(function: Callable[..., Any]) -> None:
    if function.__name__ in TAKES_THE_VALUE_FIRST:
        return
    kinds = {p.name: p.kind for p in inspect.signature(function).parameters.values()}
    loose = [name for name, kind in kinds.items() if kind is not inspect.Parameter.KEYWORD_ONLY]
    assert not loose, f"not keyword-only: {loose}"


def arguments_to_try(function: Callable[..., Any]) -> list[dict[str, Any]]:
    tried = [check.arguments for check in check_values(function)]
    required = [p.name for p in inspect.signature(function).parameters.values() if p.default is p.empty]
    if not tried and set(required) <= set(SAMPLE):
        tried = [{name: SAMPLE[name] for name in required}]
    return tried


def elementwise() -> list[Any]:
    return [
        param for param in formulas() if arguments_to_try(param.values[0]) and not statements(param.values[0], "Shapes")
    ]


@pytest.mark.parametrize("function", elementwise())
def test_an_array_gives_what_its_elements_give(function: Callable[..., Any]) -> None:
    spread = np.array([[1.0, 0.999, 1.0005], [0.9995, 1.001, 0.9999]])
    for arguments in arguments_to_try(function):
        numeric = {name: value for name, value in arguments.items() if isinstance(value, int | float)}
        other = {name: value for name, value in arguments.items() if name not in numeric}
        arrays = {name: value * spread for name, value in numeric.items()}
        together = parts(function(**arrays, **other))
        for index in np.ndindex(spread.shape):
            alone = parts(function(**{name: array[index] for name, array in arrays.items()}, **other))
            for field, array in together.items():
                assert array.shape == spread.shape, field
                assert np.array_equal(array[index], alone[field], equal_nan=True), (field, array[index], alone[field])
