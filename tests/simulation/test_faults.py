"""Each fault does to the water and to the records what its words say, from its day on, and nothing before."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from service.simulation import Scenario, ScenarioError, SimulatedSystem, load_scenario, scenario_names, simulate_many
from service.simulation.faults import Loss, Offset
from service.simulation.scenario import Cylinder, GasLine, Lot, Maintenance, Reactor, System
from service.simulation.scenario import Test as Kit

SEEDS = range(10000, 10012)
CLEAN = {"nothing_wrong", "nothing_wrong_dosed", "nothing_wrong_limewater"}
FAULT_OF = {
    "degassed_samples": "degassed samples",
    "demand_outgrows": "unrecorded demand step",
    "demand_outgrows_held_ph": "unrecorded demand step",
    "drip_loss": "drip loss",
    "drip_loss_held_ph": "drip loss",
    "drip_misread": "misread",
    "drip_misread_held_ph": "misread",
    "drip_misread_low": "misread",
    "gas_falls": "gas falls",
    "gas_leak": "gas leak",
    "gas_vented": "gas vented",
    "kit_drift": "kit drift",
    "kit_drift_slow": "kit drift",
    "media_spent": "media ageing",
    "more_food": "more food",
    "precipitation": "precipitation",
    "salinity_off": "instrument off",
    "salt_lost": "salt lost",
    "top_off_standstill": "top-off standstill",
    "unrecorded_addition": "unrecorded addition",
}


def run_all(scenario: Scenario) -> tuple[SimulatedSystem, ...]:
    return tuple(site.systems[0] for site in simulate_many(scenario, SEEDS))


@cache
def runs(name: str) -> tuple[SimulatedSystem, ...]:
    return run_all(load_scenario(f"findings/{name}"))


def changed(name: str, **changes: object) -> Scenario:
    """The scenario with parts of its system replaced."""
    scenario = load_scenario(f"findings/{name}")
    return replace(scenario, system=(replace(scenario.system[0], **changes),))


@cache
def sound(name: str) -> tuple[SimulatedSystem, ...]:
    """The same runs without the reactor's fault."""
    reactor = load_scenario(f"findings/{name}").system[0].reactor
    assert reactor is not None
    return run_all(
        changed(
            name, reactor=replace(reactor, leak=None, venting=None, gas_loss=None, drip_loss=None, media_ageing=None)
        )
    )


def weeks(system: SimulatedSystem, course: np.ndarray, day: float) -> tuple[np.ndarray, np.ndarray]:
    """The fortnight before a day, and the one that begins ten days after it."""
    at = round(day * 24)
    return course[at - 14 * 24 : at], course[at + 10 * 24 : at + 24 * 24]


# --- the set of scenarios


def test_the_findings_scenarios_are_all_there_and_labelled_with_their_day() -> None:
    names = {name.removeprefix("findings/") for name in scenario_names() if name.startswith("findings/")}
    assert names == CLEAN | set(FAULT_OF)
    for name in sorted(CLEAN):
        assert all(system.labels.faults == () for system in runs(name))
    for name, what in FAULT_OF.items():
        days = []
        for system in runs(name):
            (fault,) = system.labels.faults
            assert fault.what == what
            assert 55.0 <= fault.at <= 70.0
            days.append(fault.at)
        assert np.ptp(days) > 5.0  # drawn, not set


@pytest.mark.parametrize("name", sorted(CLEAN | set(FAULT_OF)))
def test_the_systems_stay_where_corals_live(name: str) -> None:
    """Between 1.7 and 3.7 meq/L (4.8 to 10.4 dKH): common practice, no source. The cylinder always holds gas.

    Where 1.1 meq/L falls out at once some water is below that for days: such is the fault, and nothing dissolves yet.
    """
    least = 1.5 if name == "precipitation" else 1.7
    for system in runs(name):
        assert len(system.truth.at) == 120 * 24
        assert np.all((system.truth.alkalinity > least) & (system.truth.alkalinity < 3.7))
        assert all(reading.value > 6.85 + 0.2 for reading in system.recorded.of("cylinder_gross_mass"))


# --- gas


def test_a_leak_empties_the_cylinder_and_nothing_else() -> None:
    for leaking, tight in zip(runs("gas_leak"), sound("gas_leak"), strict=True):
        day = leaking.labels.faults[0].at
        assert np.array_equal(leaking.truth.alkalinity, tight.truth.alkalinity)
        assert np.array_equal(leaking.truth.effluent_ph, tight.truth.effluent_ph)
        assert leaking.recorded.of("bubble_rate") == tight.recorded.of("bubble_rate")
        lost, passed = leaking.truth.gas_used + leaking.truth.gas_leaked, leaking.truth.gas_used
        before, after = (np.ptp(part) for part in weeks(leaking, lost, day))
        assert before == pytest.approx(np.ptp(weeks(leaking, passed, day)[0]))
        assert np.ptp(weeks(leaking, passed, day)[1]) / after == pytest.approx(0.7, rel=1e-9)  # 30 % never arrives
        weighed = {reading.taken_at: reading.value for reading in tight.recorded.of("cylinder_gross_mass")}
        lighter = [
            (reading.taken_at, weighed[reading.taken_at] - reading.value)
            for reading in leaking.recorded.of("cylinder_gross_mass")
        ]
        assert all(away == pytest.approx(0.0, abs=0.011) for at, away in lighter if at < day)
        at, away = lighter[-1]
        leaked_by_then = leaking.truth.gas_leaked[round(at * 24)] / 1000.0
        assert away == pytest.approx(leaked_by_then, abs=0.011)  # the scale shows 10 g steps
        assert leaked_by_then > 0.15


def test_vented_gas_passes_the_counter_and_is_missed_by_the_water() -> None:
    for venting, tight in zip(runs("gas_vented"), sound("gas_vented"), strict=True):
        day = venting.labels.faults[0].at
        assert np.all(venting.truth.gas_leaked == 0.0)
        gain, gain_tight = (
            (each.truth.effluent_alkalinity - each.truth.alkalinity)[round((day + 10) * 24)]
            for each in (venting, tight)
        )
        assert gain < 0.9 * gain_tight
        vented = np.diff(venting.truth.gas_vented) / np.diff(venting.truth.gas_used)
        assert vented[round(day * 24) - 2] == pytest.approx(0.04)
        assert vented[-1] == pytest.approx(1.0 - 0.96 * 0.7)


def test_every_cylinder_has_a_tare_of_its_own() -> None:
    errors = np.array([system.labels.tare_errors_kg for system in runs("gas_leak")])
    assert errors.shape == (len(SEEDS), 2)
    assert np.std(errors) == pytest.approx(0.02, rel=0.4)  # 24 draws
    exact = Kit(quantity="cylinder_gross_mass", method="scale", every_days=(1, 1))
    for system in run_all(changed("nothing_wrong", test=(exact,))):
        first, second = system.labels.tare_errors_kg
        before = next(reading for reading in system.recorded.readings if reading.taken_at > 37)
        used = system.truth.gas_used[round(before.taken_at * 24)] / 1000.0
        assert before.value == pytest.approx(6.85 + first + 1.2 - used, abs=1e-9)
        swapped = [reading.value for reading in system.recorded.readings if 38.5 < reading.taken_at < 40]
        assert swapped[0] == pytest.approx(6.85 + second + 4.5, abs=0.12)  # fills differ by 30 g


def test_two_reactors_on_one_line_empty_its_cylinder_together() -> None:
    plain = load_scenario("findings/nothing_wrong").system[0]
    reactor = plain.reactor
    assert reactor is not None
    hung = [replace(plain, code=code, reactor=replace(reactor, cylinder=None), test=()) for code in ("S1", "S2", "S3")]
    line = GasLine(
        code="L1",
        feeds=("S1", "S3"),
        cylinder=Cylinder(tare_kg=6.85, charge_kg=10.0, at_start_kg=1.5, swap_days=(30.0,)),
        weighing=Kit(quantity="cylinder_gross_mass", method="scale", every_days=(1, 1)),
        leak=Loss(between_days=(50.0, 50.0), share=0.25),
    )
    scenario = Scenario(title="line", days=60, system=tuple(hung), gas_line=(line,))
    (site,) = simulate_many(scenario, [10000])
    (found,) = site.gas_lines
    used = site.systems[0].truth.gas_used + site.systems[2].truth.gas_used
    weighed = {reading.taken_at: reading.value for reading in found.weighings}
    first, last = (min(weighed), max(at for at in weighed if at < 30))
    grams = 1000.0 * (weighed[first] - weighed[last])
    assert grams == pytest.approx(used[round(last * 24)] - used[round(first * 24)], abs=1e-6)
    late = [at for at in weighed if at > 50]
    lost = 1000.0 * (weighed[late[0]] - weighed[late[-1]])
    passed = used[round(late[-1] * 24)] - used[round(late[0] * 24)]
    assert passed / lost == pytest.approx(0.75, rel=1e-9)
    assert [(fault.what, fault.at, fault.size) for fault in found.faults] == [("gas leak", 50.0, 0.25)]
    (alone,) = simulate_many(replace(scenario, gas_line=()), [10000])
    assert np.array_equal(alone.systems[0].truth.alkalinity, site.systems[0].truth.alkalinity)


@pytest.mark.parametrize(
    ("feeds", "words"), [(("S9",), "S9 must be a system with a reactor"), (("S1", "S1"), "on this line alone")]
)
def test_a_gas_line_to_nowhere_is_refused(feeds: tuple[str, ...], words: str) -> None:
    plain = load_scenario("findings/nothing_wrong").system[0]
    weighing = Kit(quantity="cylinder_gross_mass", method="scale", every_days=(7, 7))
    cylinder = Cylinder(tare_kg=7, charge_kg=4.5, at_start_kg=4)
    reactor = replace(plain.reactor, cylinder=None)
    with pytest.raises(ScenarioError, match=words):
        Scenario(
            title="line",
            days=5,
            system=(replace(plain, reactor=reactor, test=()),),
            gas_line=(GasLine(code="L1", feeds=feeds, cylinder=cylinder, weighing=weighing),),
        )


def test_bubbles_change_in_size() -> None:
    counted = Kit(quantity="bubble_rate", method="counted", every_days=(1, 1))
    reactor = load_scenario("findings/nothing_wrong").system[0].reactor
    assert reactor is not None
    steps = []
    for system in run_all(changed("nothing_wrong", test=(counted,), reactor=replace(reactor, keeping=STEADY))):
        count = np.log([reading.value for reading in system.recorded.readings])
        steps.append(np.std(np.diff(count)))
    assert np.mean(steps) == pytest.approx(0.006, rel=0.1)  # as stated, a square root of a day


STEADY = replace(load_scenario("findings/nothing_wrong").system[0].reactor.keeping, every_days=0)  # type: ignore[union-attr]


# --- drip and media


@pytest.mark.parametrize("name", ["drip_loss", "drip_loss_held_ph"])
def test_the_drip_loses_a_quarter_and_the_setting_does_not_know(name: str) -> None:
    for slow, free in zip(runs(name), sound(name), strict=True):
        at = round(slow.labels.faults[0].at * 24)
        assert np.array_equal(slow.truth.drip[:at], free.truth.drip[:at])
        assert slow.truth.drip[at + 48] / free.truth.drip[at + 48] == pytest.approx(
            0.75, rel=0.03
        )  # or re-set in between
        set_to = [point.value for point in slow.recorded.set_points if point.code == "effluent_flow"]
        assert min(set_to) > 0.8 * set_to[0]  # nobody turns it down


def test_held_ph_passes_the_loss_on_and_constant_gas_makes_up_for_it() -> None:
    """At constant gas an effluent that runs slower is richer (the gain of a litre up by about a third of a third)."""
    shares = {}
    for name in ("drip_loss", "drip_loss_held_ph"):
        supplies = []
        for slow, free in zip(runs(name), sound(name), strict=True):
            day = slow.labels.faults[0].at + 4.0
            at = slice(round(day * 24), round((day + 3) * 24))
            supplies.append(
                [
                    np.mean(each.truth.drip[at] * (each.truth.effluent_alkalinity - each.truth.alkalinity)[at])
                    for each in (slow, free)
                ]
            )
        shares[name] = np.mean([slow / free for slow, free in supplies])
    assert shares["drip_loss_held_ph"] < 0.85
    assert shares["drip_loss"] > 0.9


def test_spent_media_dissolve_a_quarter_less() -> None:
    shares = []
    for spent, fresh in zip(runs("media_spent"), sound("media_spent"), strict=True):
        day = spent.labels.faults[0].at
        gain, gain_fresh = (
            np.mean(weeks(each, each.truth.effluent_alkalinity - each.truth.alkalinity, day)[1])
            for each in (spent, fresh)
        )
        shares.append(gain / gain_fresh)
    assert np.mean(shares) == pytest.approx(0.75, abs=0.03)


def test_media_may_be_half_gone_at_the_start() -> None:
    reactor = load_scenario("findings/nothing_wrong").system[0].reactor
    assert reactor is not None
    for system in run_all(changed("nothing_wrong", reactor=replace(reactor, media_share_at_start=0.4))):
        assert system.truth.media[0] == pytest.approx(6.0)
        assert system.truth.media[-1] < 4.7


def test_a_valve_that_creeps_shut_lets_three_tenths_less_in_and_the_bubbles_show_it() -> None:
    for shut, sound_one in zip(runs("gas_falls"), sound("gas_falls"), strict=True):
        day = shut.labels.faults[0].at
        at, grown = round(day * 24), round((day + 3) * 24)
        assert np.array_equal(shut.truth.gas_used[: at + 1], sound_one.truth.gas_used[: at + 1])
        used, would = (np.diff(each.truth.gas_used[grown : grown + 24]).sum() for each in (shut, sound_one))
        # or the keeper has turned drip and gas in between
        assert used / would == pytest.approx(0.7, abs=0.12)
        supply, usual = (
            np.mean((each.truth.drip * (each.truth.effluent_alkalinity - each.truth.alkalinity))[grown : grown + 48])
            for each in (shut, sound_one)
        )
        assert supply / usual < 0.92
        counted, wanted = (
            np.mean([row.value for row in each.recorded.of("bubble_rate") if day + 3 < row.taken_at < day + 12])
            for each in (shut, sound_one)
        )
        assert counted / wanted == pytest.approx(0.7, abs=0.15)


# --- kits, instruments, samples


@pytest.mark.parametrize(("name", "over_days"), [("kit_drift", 0.0), ("kit_drift_slow", 28.0)])
def test_a_bad_lot_shifts_samples_and_check_standards_alike(name: str, over_days: float) -> None:
    scenario = load_scenario(f"findings/{name}")
    kit = scenario.system[0].test[0]
    good = replace(kit, lot=tuple(replace(lot, bias=0.0) for lot in kit.lot))
    signs = set()
    still = replace(scenario.system[0].reactor, keeping=STEADY)  # a keeper who acts on the kit would move the water
    honest = run_all(changed(name, test=(good, *scenario.system[0].test[1:]), reactor=still))
    for bad, fine in zip(run_all(changed(name, reactor=still)), honest, strict=True):
        (fault,) = bad.labels.faults
        assert (fault.quantity, abs(fault.size), fault.over_days) == ("alkalinity", 0.107, over_days)
        signs.add(np.sign(fault.size))
        assert fine.labels.faults == ()
        for kind in ("readings", "check_standards"):
            for one, other in zip(getattr(bad.recorded, kind), getattr(fine.recorded, kind), strict=True):
                if one.quantity == "alkalinity":
                    since = one.taken_at - fault.at
                    grown = np.clip(since / over_days, 0, 1) if over_days else 1.0
                    expected = fault.size * grown if since >= 0 else 0.0
                    assert one.value - other.value == pytest.approx(expected, abs=0.0105)  # shown in steps of 0.01
                    assert one.lot == ("A-2" if since >= 0 else "A-1")
    assert signs == {-1.0, 1.0}


def test_check_standards_are_read_a_fortnight_apart_in_duplicate_and_know_their_value() -> None:
    errors = []
    for system in runs("nothing_wrong"):
        readings = system.recorded.check_standards
        days = sorted({np.floor(reading.taken_at) for reading in readings})
        assert days == [float(day) for day in range(3, 120, 14)]
        assert len(readings) == 2 * len(days)
        assert {(each.purpose, each.stated, each.method) for each in readings} == {
            ("check_standard", 2.80, "syringe titration")
        }
        errors += [reading.value - 2.80 for reading in readings]
        assert not any(reading.purpose == "check_standard" for reading in system.recorded.readings)
    # 0.05 the kit, 0.02 the lots, 0.014 the standard itself
    assert np.std(errors) == pytest.approx(np.sqrt(0.05**2 + 0.02**2 + 0.014**2), rel=0.15)


def test_standing_samples_read_high() -> None:
    scenario = load_scenario("findings/degassed_samples")
    tests = scenario.system[0].test
    fresh = run_all(changed("degassed_samples", test=tuple(replace(each, degassed=None) for each in tests)))
    shares = []
    for stood, other in zip(runs("degassed_samples"), fresh, strict=True):
        (fault,) = stood.labels.faults
        assert other.labels.degassed == frozenset()
        late = 0
        for index, (one, two) in enumerate(zip(stood.recorded.readings, other.recorded.readings, strict=True)):
            away = one.value - two.value
            if index in stood.labels.degassed:
                assert (one.quantity, one.taken_at >= fault.at) == ("effluent_ph", True)
                assert 0.09 <= away <= 0.31
            else:
                assert away == 0.0
            late += one.quantity == "effluent_ph" and one.taken_at >= fault.at
        shares.append(len(stood.labels.degassed) / late)
    assert np.mean(shares) == pytest.approx(0.67, abs=0.12)


def test_an_instrument_goes_off_and_the_water_does_not() -> None:
    scenario = load_scenario("findings/salinity_off")
    tests = scenario.system[0].test
    fine = run_all(changed("salinity_off", test=tuple(replace(each, off=None) for each in tests)))
    for wrong, right in zip(runs("salinity_off"), fine, strict=True):
        (fault,) = wrong.labels.faults
        assert (fault.quantity, abs(fault.size)) == ("salinity", 1.0)
        for one, other in zip(wrong.recorded.of("salinity"), right.recorded.of("salinity"), strict=True):
            grown = np.clip((one.taken_at - fault.at) / 10.0, 0.0, 1.0)
            assert one.value - other.value == pytest.approx(fault.size * grown, abs=0.101)  # shown in steps of 0.1
        assert np.array_equal(wrong.truth.salinity, right.truth.salinity)


@pytest.mark.parametrize("name", ["drip_misread", "drip_misread_low", "drip_misread_held_ph"])
def test_a_misread_drip_is_read_wrong_by_its_factor_and_nothing_else_changes(name: str) -> None:
    tests = load_scenario(f"findings/{name}").system[0].test
    fine = run_all(changed(name, test=tuple(replace(each, misread=None) for each in tests)))
    factor = next(each.misread.factor for each in tests if each.misread)
    for wrong, right in zip(runs(name), fine, strict=True):
        (fault,) = wrong.labels.faults
        assert (fault.quantity, fault.size) == ("effluent_flow", pytest.approx(factor - 1.0))
        late = [
            (one.value / other.value, one.taken_at)
            for one, other in zip(wrong.recorded.of("effluent_flow"), right.recorded.of("effluent_flow"), strict=True)
        ]
        assert all(times == 1.0 for times, at in late if at < fault.at)
        assert [times for times, at in late if at > fault.at] == pytest.approx(
            [factor for _, at in late if at > fault.at], rel=0.05
        )  # the scatter of a timing goes with what is read
        assert len([at for _, at in late if at > fault.at]) >= 8
        assert np.array_equal(wrong.truth.alkalinity, right.truth.alkalinity)


def test_a_standing_top_off_concentrates_and_is_made_up() -> None:
    for system in runs("top_off_standstill"):
        (fault,) = system.labels.faults
        begun, ended = round(fault.at * 24), round((fault.at + 6) * 24)
        volume, salt = system.truth.volume, system.truth.salinity * system.truth.volume
        assert volume[begun] - volume[ended] == pytest.approx(6 * 12.0)
        if not any(
            begun < change.start * 24 < ended for change in system.recorded.additions if change.kind != "fresh_water"
        ):
            assert salt[ended] == pytest.approx(salt[begun], rel=2e-3)  # only water left; the chamber lags by a day
        assert volume[ended + 1] == pytest.approx(volume[begun], abs=0.51)
        poured = [addition for addition in system.recorded.additions if addition.kind == "fresh_water"]
        assert sum(each.amount for each in poured) == pytest.approx(120 * 12.0, rel=0.03)  # in the end all of it


# --- the water


def test_water_that_is_lost_takes_its_salt_along() -> None:
    """By hand: 1.5 L/d of about 1000 L, made up fresh: salinity falls by 0.15 % a day between two water changes."""
    for system in runs("salt_lost"):
        (fault,) = system.labels.faults
        begun = round(fault.at * 24)
        assert np.all(system.truth.salinity[:begun] == pytest.approx(35.0, abs=1e-9))
        changes = [each.start for each in system.recorded.additions if each.kind == "water_change"]
        start = begun if not any(fault.at < at < fault.at + 5 for at in changes) else begun + 6 * 24
        fallen = system.truth.salinity[start + 5 * 24] / system.truth.salinity[start]
        litres = system.labels.true_volume_l
        assert fallen == pytest.approx(np.exp(-1.5 * 5 / litres), abs=2e-4)
        assert np.ptp(system.truth.volume) < 1e-6


def test_food_forms_a_mmol_of_nitrate_for_each_meq_it_takes() -> None:
    for system in runs("more_food"):
        formed, taken = system.flows["nitrification"][5], system.flows["nitrification"][0]
        assert formed == pytest.approx(-taken)
        (fault,) = system.labels.faults
        at = round((fault.at + 6) * 24)
        changed = [each.start for each in system.recorded.additions if each.kind == "water_change"]
        calm = next(d for d in range(at, at + 24 * 10) if not any(d <= 24 * c <= d + 24 for c in changed))
        risen = system.truth.nitrate[calm + 24] - system.truth.nitrate[calm]
        assert risen == pytest.approx(0.028 * 62.0049, rel=1e-3)  # 0.003 as before, 0.025 besides


def test_what_precipitates_takes_twenty_milligrams_of_calcium_a_meq() -> None:
    for system in runs("precipitation"):
        (fault,) = system.labels.faults
        begun, litres = round(fault.at * 24), system.labels.true_volume_l
        lost = system.flows["precipitation"]
        assert lost[0] == pytest.approx(-1.1 * litres, rel=1e-6)
        assert lost[2] * 40.078 / lost[0] == pytest.approx(20.04, abs=0.01)
        alkalinity = system.truth.alkalinity
        assert alkalinity[begun] - alkalinity[begun + 6] == pytest.approx(1.1, abs=0.1)  # corals and pump besides


# --- how it is said


def test_an_end_before_the_beginning_is_refused() -> None:
    with pytest.raises(ScenarioError, match="put them in order"):
        Loss(between_days=(60.0, 50.0), share=0.3)
    with pytest.raises(ScenarioError, match="put them in order"):
        Loss(between_days=(50.0, 60.0), share=0.3, until_day=55.0)
    with pytest.raises(ScenarioError, match="put them in order"):
        Offset(between_days=(60.0, 50.0), size=1.0)


def test_a_fault_may_end() -> None:
    reactor = load_scenario("findings/nothing_wrong").system[0].reactor
    leak = Loss(between_days=(40.0, 40.0), share=0.5, until_day=60.0)
    for system in run_all(changed("nothing_wrong", reactor=replace(reactor, leak=leak))):
        assert (system.labels.faults[0].at, system.labels.faults[0].until) == (40.0, 60.0)
        leaking = np.flatnonzero(np.diff(system.truth.gas_leaked) > 0.0)
        assert (leaking[0], leaking[-1]) == (40 * 24, 60 * 24 - 1)


def test_a_job_is_forgotten_after_a_day() -> None:
    job = Maintenance(kind="inspection", what="looked at", first_day=3.0, every_days=10.0, until_day=40.0)
    system = run_all(changed("nothing_wrong", maintenance=(job,)))[0]
    assert [event.at for event in system.recorded.maintenance if event.what == "looked at"] == [3.0, 13.0, 23.0, 33.0]


def test_a_fault_elsewhere_leaves_the_draws_alone() -> None:
    """A leak nobody can see changes no record where there is no scale."""
    plain = Lot(code="A-1", from_day=0)
    kit = Kit(quantity="alkalinity", method="kit", sd=0.05, every_days=(1, 2), lot=(plain,))
    reactor = Reactor(chamber_l=15, drip_l_d=40, gas_g_d=12, media_kg=12)
    leaky = replace(reactor, leak=Loss(between_days=(2.0, 3.0), share=0.3))
    system = load_scenario("findings/nothing_wrong").system[0]
    course = {}
    for name, each in (("tight", reactor), ("leaky", leaky)):
        of_kind = System(code="S1", water=system.water, corals=system.corals, reactor=each, test=(kit,))
        course[name] = run_all(Scenario(title=name, days=20, system=(of_kind,)))
    for tight, leaking in zip(course["tight"], course["leaky"], strict=True):
        assert tight.recorded == leaking.recorded
