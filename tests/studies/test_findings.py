"""A small part of the findings study with loose bars; the command beside this file is the study itself."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

import findings
import numpy as np

from service.simulation import simulate_many

SEEDS = range(20_000, 20_005)


@pytest.mark.parametrize(
    ("scenario", "code"),
    [
        ("gas_leak", "gas_leak"),
        ("drip_loss", "slowing_drip"),
        ("media_spent", "media_give_less"),
        ("kit_drift", "kit_off"),
    ],
)
def test_what_goes_wrong_is_named_in_the_end(scenario: str, code: str) -> None:
    runs = findings.study(scenario, SEEDS, 7.0)
    named = [any(found == code and day > run.faults[0].at for day, found in run.seen) for run in runs]
    assert sum(named) >= 4


def test_where_nothing_is_wrong_little_is_named() -> None:
    found = findings.figures("nothing_wrong", findings.study("nothing_wrong", SEEDS, 7.0))
    print(found)
    assert found.false <= 3


def test_an_addition_is_looked_for_when_the_water_was_tested() -> None:
    (site,) = simulate_many("findings/unrecorded_addition", range(20_000, 20_001))
    recorded, instants = site.systems[0].recorded, np.array([30.4, 90.4])
    standards = {row.taken_at for row in recorded.check_standards if 30.4 <= row.taken_at <= 90.4}
    tests = {row.taken_at for row in recorded.of("alkalinity") if 30.4 <= row.taken_at <= 90.4}
    assert len(standards) >= 4
    assert len(tests) >= 20
    assert set(findings.looks("nothing_wrong", recorded, instants)) == {30.4, 90.4} | standards
    assert set(findings.looks("unrecorded_addition", recorded, instants)) == {30.4, 90.4} | standards | tests


def test_a_finding_that_stays_counts_once_and_before_its_cause_is_false() -> None:
    class Leak:
        what, at = "gas leak", 50.0

    run = findings.Run((Leak(),), 90.0, [(40.0, "gas_leak"), (60.0, "gas_leak"), (63.5, "gas_leak"), (61.0, "kit_off")])
    assert list(run.episodes()) == [(40.0, "gas_leak"), (60.0, "gas_leak"), (61.0, "kit_off")]
    assert run.false() == ["gas_leak", "kit_off"]
    assert run.named_within(14.0, frozenset({"gas_leak"}))
    assert not run.named_within(5.0, frozenset({"gas_leak"}))


def test_a_shortage_that_is_one_is_no_false_finding() -> None:
    run = findings.Run((), 90.0, [(40.0, "gas_limited"), (80.0, "gas_limited")], {40.0})
    assert run.false() == ["gas_limited"]
