"""All reactors of a site in one call: the same answers as one after another, and no more calls of science."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from support.reactors import reactors

import service.science
from service.computations.output_balance.answer import answered, answered_all
from service.computations.output_balance.situation import Situation

SCIENCE = str(Path(service.science.__file__).parent)
MANY = 150


def leaves(answer: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of an answer that holds no others, with where it stands."""
    if isinstance(answer, dict):
        for name, each in answer.items():
            yield from leaves(each, f"{path}/{name}")
    elif isinstance(answer, list | tuple):
        yield path, len(answer)
        for place, each in enumerate(answer):
            yield from leaves(each, f"{path}/{place}")
    else:
        yield path, answer


def require_same(answers: list[dict[str, Any]], expected: list[dict[str, Any]]) -> None:
    """Every number to 1e-12, everything else to the letter."""
    found, wanted = dict(leaves(answers)), dict(leaves(expected))
    assert found.keys() == wanted.keys()
    for path, value in wanted.items():
        if isinstance(value, float):
            assert found[path] == pytest.approx(value, rel=1e-12, abs=1e-12), path
        else:
            assert found[path] == value, path
            assert type(found[path]) is type(value), path


def test_many_at_once_are_answered_as_one_after_another() -> None:
    situations = reactors(MANY)
    require_same(answered_all(situations), [answered(each) for each in situations])


def test_an_answer_depends_on_no_neighbour() -> None:
    situations = reactors(MANY)
    require_same(answered_all(situations[::-1])[::-1], answered_all(situations))


def test_the_reactors_asked_are_of_every_kind() -> None:
    """Else the two tests above would say little."""
    answers = answered_all(reactors(MANY))
    told = {each["code"] for answer in answers for each in (*answer["findings"], *answer["advice"])}
    told |= {found["code"] for answer in answers if (found := answer["gas_check"]["finding"])}
    assert told >= {
        "no_drip", "effluent_below_tank", "above_ceiling", "far_below_ceiling", "degassed_sample", "gas_missing",
        "wrong_flow", "gas_limited", "media_limited", "more_gas", "less_gas", "more_drip", "less_drip", "hold",
        "measure_first", "mend_media",
    }  # fmt: skip
    empty = [path.split("/", 2)[2] for path, value in leaves(answers) if value is None]
    assert {"effluent/flow", "effluent/omega_aragonite", "supply/alkalinity", "settles_at", "limits/gas"} <= {*empty}
    assert {len(answer["systems"]) for answer in answers} == {0, 1, 2, 3}


def calls_of_science(situations: list[Situation]) -> int:
    """How many functions of the scientific core are entered for the answers of these reactors."""
    entered = 0

    def count(frame: FrameType, event: str, _: object) -> None:
        nonlocal entered
        entered += event == "call" and frame.f_code.co_filename.startswith(SCIENCE)

    sys.setprofile(count)
    try:
        answered_all(situations)
    finally:
        sys.setprofile(None)
    return entered


def test_science_is_called_as_often_for_five_times_the_reactors() -> None:
    situations = reactors(30)
    once = calls_of_science(situations)
    assert once > 100
    assert calls_of_science(situations * 5) == once


def test_no_reactor_has_no_answer() -> None:
    assert answered_all([]) == []
