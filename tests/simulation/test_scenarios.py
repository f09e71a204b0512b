"""Scenario files are read strictly, and the study's are all there."""

from pathlib import Path

import pytest

from service.simulation import ScenarioError, data, load_scenario, read_scenario, scenario_names
from service.simulation.data import shared_folder

SMALLEST = """
title = "smallest"
days = 3
[[system]]
code = "S1"
[system.water]
volume_l = 100
[system.corals]
demand_meq_l_d = 0.2
"""

STUDY = {
    "clogging", "day_night", "drop_kit", "fast_drift", "gaps", "limewater", "noisy_kit", "outliers", "reactor",
    "salt_lost", "saturation", "steady", "step", "titrator", "unrecorded_addition", "water_changes",
}  # fmt: skip


def test_every_scenario_can_be_read() -> None:
    names = scenario_names()
    assert {name.removeprefix("consumption/") for name in names if name.startswith("consumption/")} == STUDY
    for name in names:
        scenario = load_scenario(name)
        assert scenario.title
        assert scenario.story
        assert name == "demo" or scenario.days == (120 if name.startswith("findings/") else 180)


def test_smallest() -> None:
    assert read_scenario(SMALLEST, "smallest").system[0].water.volume_l == 100.0


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("demand_meq_l_d = 0.2", "demand_meq_l_d = 0.2\nfoo = 1", r"system\[0\].corals: unknown key 'foo'; known here"),
        ("demand_meq_l_d = 0.2", "", r"corals: key 'demand_meq_l_d' is missing"),
        ("volume_l = 100", "volume_l = -5", r"water.volume_l: -5 lies outside 1 to 1e\+07"),
        ("volume_l = 100", "volume_l = true", r"water.volume_l: a number is needed, not True"),
        ("volume_l = 100", 'volume_l = "100"', r"water.volume_l: a number is needed, not '100'"),
        ("volume_l = 100", "volume_l = nan", r"water.volume_l: nan lies outside"),
        ("days = 3", "days = 3.5", r"days: a whole number is needed, not 3.5"),
        ("[system.water]", "[system.watter]", r"system\[0\]: unknown key 'watter'"),
        ("[system.water]", "[system.top_off]\nevaporation_l_d = 1\nkind = 'milk'\n[system.water]", "'milk' is none"),
        ("[system.water]", "[system.top_off]\nevaporation_l_d = 40\n[system.water]", r"refill more often"),
        ("days = 3", "days = ", "not TOML"),
        ("[system.water]", "[[system.test]]\nquantity = 'effluent_ph'\nmethod = 'm'\nevery_days = [1, 2]\n"
         "[system.water]",
         "test of effluent_ph needs a reactor"),
        ("[system.water]", "[[system.test]]\nquantity = 'ph'\nmethod = 'm'\nevery_days = [1]\n[system.water]",
         r"test\[0\].every_days: 2 values are needed, not 1"),
        ("[system.water]", "[system.reactor]\nchamber_l = 9\ndrip_l_d = 9\ngas_g_d = 9\nmedia_kg = 9\n"
         "[system.reactor.leak]\nbetween_days = [5, 6]\nshare = 1.2\n[system.water]",
         r"reactor.leak.share: 1.2 lies outside 0 to 0.95"),
        ("[system.water]", "[system.reactor]\nchamber_l = 9\ndrip_l_d = 9\ngas_g_d = 9\nmedia_kg = 9\n"
         "[system.reactor.leak]\nbetween_days = [5, -6]\nshare = 0.3\n[system.water]",
         r"reactor.leak.between_days\[1\]: -6 lies outside 0"),
        ("[system.water]", "[system.reactor]\nchamber_l = 9\ndrip_l_d = 9\ngas_g_d = 9\nmedia_kg = 9\n"
         "[system.reactor.leak]\nday = 5\n[system.water]",
         r"reactor.leak: unknown key 'day'; known here: between_days"),
        ("[system.water]", "[system.top_off]\nevaporation_l_d = 9\n[system.top_off.standstill]\n"
         "between_days = [1, 2]\ndays = 5\n[system.water]",
         r"top_off.standstill lets more than three tenths"),
    ],
)  # fmt: skip
def test_mistakes_are_named(old: str, new: str, message: str) -> None:
    assert old in SMALLEST
    with pytest.raises(ScenarioError, match=message):
        read_scenario(SMALLEST.replace(old, new), "smallest")


def test_two_systems_need_two_codes() -> None:
    twice = SMALLEST + SMALLEST[SMALLEST.index("[[system]]") :]
    with pytest.raises(ScenarioError, match="each with its own code"):
        read_scenario(twice, "twice")


def test_unknown_scenario_names_the_known_ones() -> None:
    with pytest.raises(ScenarioError, match=r"no scenario 'nowhere'; there are: .*demo"):
        load_scenario("nowhere")


def test_shared_folder_names_where_it_looked() -> None:
    assert shared_folder("scenario").is_dir()
    with pytest.raises(FileNotFoundError, match=r"no shared folder 'nothing': looked in .*_shared.* and "):
        shared_folder("nothing")


def test_an_installed_wheel_reads_its_own_copy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wheel carries shared/scenario as service/_shared/scenario (pyproject.toml, force-include)."""
    inside = tmp_path / "service" / "_shared" / "scenario"
    inside.mkdir(parents=True)
    monkeypatch.setattr(data, "files", lambda package: tmp_path / package)
    assert shared_folder("scenario") == inside


def test_parts_add_systems_and_nothing_else() -> None:
    more = SMALLEST[SMALLEST.index("[[system]]") :]
    scenario = read_scenario(SMALLEST, "whole", (("whole/part", more.replace("S1", "S2")),))
    assert [system.code for system in scenario.system] == ["S1", "S2"]
    with pytest.raises(ScenarioError, match=r"whole/part: a part holds lists of system and gas_line alone, not 'days'"):
        read_scenario(SMALLEST, "whole", (("whole/part", "days = 4"),))


def test_a_kit_says_what_tests_have_in_common() -> None:
    kit = '[kit.drops]\nquantity = "alkalinity"\nmethod = "drop kit"\nsd = 0.14\nevery_days = [1, 2]\n'
    test = '[[system.test]]\nkit = "drops"\nevery_days = [3, 3]\n'
    (found,) = read_scenario(SMALLEST + test + kit, "smallest").system[0].test
    assert (found.method, found.sd, found.every_days) == ("drop kit", 0.14, (3, 3))
    with pytest.raises(ScenarioError, match=r"smallest: no kit 'drops'; there are: drips"):
        read_scenario(SMALLEST + test + kit.replace("drops", "drips"), "smallest")
