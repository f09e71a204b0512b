"""Tables of a data file become dataclasses, and nothing in them is overlooked."""

import types
from collections.abc import Mapping
from dataclasses import MISSING, Field, field, fields, is_dataclass
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

T = TypeVar("T")


class ScenarioError(ValueError):
    """A scenario file says something the simulator does not understand; the message names the place and the remedy."""


def number(low: float, high: float, default: float | tuple[float, ...] | None = None) -> Any:
    """Return a dataclass field for a number (or numbers) that must lie between two bounds, both allowed."""
    bounds = {"low": low, "high": high}
    return field(metadata=bounds) if default is None else field(default=default, metadata=bounds)


def build(kind: type[T], table: Mapping[str, object], where: str) -> T:
    """Return one dataclass from a table of a TOML file.

    Every key must be a field of `kind` and every field without a default must be there; nested tables become nested
    dataclasses, lists become tuples. Raises ScenarioError naming `where`, the key and what is accepted.
    """
    hints = get_type_hints(kind)
    known = {item.name: item for item in fields(kind)}  # type: ignore[arg-type]  # kind is a dataclass
    for key in table:
        if key not in known:
            raise ScenarioError(f"{where}: unknown key {key!r}; known here: {', '.join(sorted(known))}")
    values: dict[str, object] = {}
    for name, item in known.items():
        if name in table:
            values[name] = _value(hints[name], table[name], f"{where}.{name}", item)
        elif item.default is MISSING and item.default_factory is MISSING:
            raise ScenarioError(f"{where}: key {name!r} is missing")
    try:
        return kind(**values)
    except ScenarioError as error:
        raise ScenarioError(f"{where}: {error}") from None


def _value(hint: Any, value: object, where: str, item: Field[Any]) -> object:
    origin, choices = get_origin(hint), get_args(hint)
    if origin in (types.UnionType, Union):
        hint = next(choice for choice in choices if choice is not types.NoneType)
        return _value(hint, value, where, item)
    if origin is Literal:
        if value not in choices:
            raise ScenarioError(f"{where}: {value!r} is none of {', '.join(map(repr, choices))}")
        return value
    if origin is tuple:
        return _values(choices, value, where, item)
    if is_dataclass(hint):
        if not isinstance(value, Mapping):
            raise ScenarioError(f"{where}: a table is needed, not {value!r}")
        return build(hint, value, where)  # type: ignore[arg-type]  # a dataclass type, as just checked
    if hint in (int, float):
        return _number(hint, value, where, item)
    if not isinstance(value, hint):
        raise ScenarioError(f"{where}: {hint.__name__} is needed, not {value!r}")
    return value


def _values(choices: tuple[Any, ...], value: object, where: str, item: Field[Any]) -> tuple[object, ...]:
    if not isinstance(value, list):
        raise ScenarioError(f"{where}: a list is needed, not {value!r}")
    if choices[-1] is Ellipsis:
        return tuple(_value(choices[0], each, f"{where}[{index}]", item) for index, each in enumerate(value))
    if len(value) != len(choices):
        raise ScenarioError(f"{where}: {len(choices)} values are needed, not {len(value)}")
    return tuple(
        _value(choice, each, f"{where}[{index}]", item)
        for index, (choice, each) in enumerate(zip(choices, value, strict=True))
    )


def _number(hint: Any, value: object, where: str, item: Field[Any]) -> float | int:
    whole = hint is int
    if isinstance(value, bool) or not isinstance(value, int if whole else int | float):
        raise ScenarioError(f"{where}: a {'whole ' if whole else ''}number is needed, not {value!r}")
    low, high = item.metadata.get("low", float("-inf")), item.metadata.get("high", float("inf"))
    if not low <= value <= high:
        raise ScenarioError(f"{where}: {value} lies outside {low:g} to {high:g}")
    return value if whole else float(value)
