"""Every form leaves the record it promises, as the API has it; undo, corrections, advice, clocks that are wrong."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from browser.phone.conftest import PATIENCE, WINDOW, Hall, aside
from browser.phone.typing_in import reading, states, until, wait_until
from support.diary import titrations

from service.http.cookies import PLAIN

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

pytestmark = pytest.mark.browser


@pytest.fixture
def context(browser: Browser, hall: Hall, cookie: str) -> Iterator[BrowserContext]:
    """A keeper's browser."""
    context = browser.new_context(viewport=WINDOW)
    context.set_default_timeout(PATIENCE)
    context.add_cookies([{"name": PLAIN, "value": cookie, "url": hall.url}])
    yield context
    context.close()


class Desk:
    """A described thing, its page, and the records about it."""

    def __init__(self, hall: Hall, context: BrowserContext, thing: dict[str, Any]) -> None:
        self.hall, self.thing = hall, thing
        self.page: Page = context.new_page()
        self.show("")

    def show(self, form: str) -> None:
        """Open one of the thing's forms."""
        self.page.goto(f"{self.hall.url}/t/{self.thing['label_code']}#{form}")
        self.page.reload()
        self.page.wait_for_selector("html[data-ready]")

    def field(self, form: str, label: str) -> Any:
        """A field of a form."""
        return self.page.locator(f"#{form}").get_by_label(label, exact=True)

    def save(self, form: str) -> None:
        """Save a form, and wait until the service has it."""
        self.page.locator(f"#{form} .said").evaluate("(said) => { said.textContent = ''; }")  # of the save before
        self.page.locator(f"#{form} button[type=submit]").click()
        self.page.locator(f"#{form} .said").get_by_text(": sent.").wait_for()

    def records(self, kind: str) -> list[dict[str, Any]]:
        """The records of a kind about the thing, the oldest first."""
        query = f"site={self.hall.site['id']}" if kind == "handovers" else f"subject={self.thing['id']}"
        found: list[dict[str, Any]] = self.hall.call("GET", f"/v1/{kind}?{query}&limit=100")
        return [each for each in reversed(found) if each["subject_id"] == self.thing["id"]]

    def only(self, kind: str) -> dict[str, Any]:
        """The one record of a kind, made by a person just now."""
        found = self.records(kind)
        assert len(found) == 1
        return found[0]


def is_now(text: str) -> bool:
    """Whether a time is of this minute, more or less, and says its offset."""
    at = datetime.fromisoformat(text)
    return at.tzinfo is not None and abs(datetime.now(UTC) - at) < timedelta(minutes=3)


@pytest.fixture
def system(hall: Hall, context: BrowserContext) -> Desk:
    """A system and its page."""
    return Desk(hall, context, hall.a_system(name="Lagoon"))


@pytest.fixture
def reactor(hall: Hall, context: BrowserContext) -> Desk:
    """A calcium reactor and its page."""
    tag = f"reactor-{len(hall.call('GET', '/v1/equipment?limit=100'))}"
    return Desk(hall, context, hall.describe("equipment", tag=tag, kind="calcium_reactor", name="Reactor"))


def test_a_reading_set_with_replicates_method_and_conditions(system: Desk) -> None:
    page = system.page
    reading(page, "Alkalinity").fill("8,05")
    page.locator("[data-quantity=alkalinity] [data-again]").click()
    page.keyboard.type("8.1")
    reading(page, "pH").fill("8.21")
    page.locator("details.more summary").filter(has_text="Method").click()
    page.locator("#m-alkalinity").select_option("syringe_titration")
    page.locator("#m-ph-temperature").fill("25,5")
    page.locator("#m-ph-scale").select_option("total")
    system.field("readings", "Read by, if not you").fill("Trainee")
    system.save("readings")
    found = {(each["quantity"], each["purpose"]): each for each in system.records("readings")}
    first, second, ph = found["alkalinity", "sample"], found["alkalinity", "replicate"], found["ph", "sample"]
    assert (first["value"], first["unit"], first["method"]) == (8.05, "dKH", "syringe_titration")
    assert second["value"] == 8.1
    assert ph["conditions"] == {"scale": "total", "temperature": 25.5}
    assert len(found) == 3
    assert {each["observed_by"] for each in (first, second, ph)} == {"Trainee"}
    assert is_now(first["taken_at"])


def test_a_timed_drip_becomes_a_flow(reactor: Desk) -> None:
    page = reactor.page
    clock = "performance.now = ((real) => () => real() + (window.later ?? 0))(performance.now.bind(performance))"
    page.evaluate(clock)
    page.get_by_role("button", name="Start the watch").click()
    page.evaluate("window.later = 60000")
    page.get_by_role("button", name="Stop the watch").click()
    page.get_by_label("Volume collected").fill("40")
    shown = float(reading(page, "Effluent flow").input_value())
    assert math.isclose(shown, 40.0, rel_tol=0.05)  # 40 mL in a minute and what the test itself took
    reading(page, "Effluent alkalinity").fill("11.2")
    reading(page, "Effluent pH").fill("6.55")
    reactor.save("readings")
    found = {each["quantity"]: each for each in reactor.records("readings")}
    assert found["effluent_flow"]["value"] == shown
    assert (found["effluent_flow"]["unit"], found["effluent_flow"]["method"]) == ("mL/min", "timed_volume")
    assert (found["effluent_alkalinity"]["value"], found["effluent_alkalinity"]["unit"]) == (11.2, "meq/L")
    assert found["effluent_ph"]["value"] == 6.55


def test_a_cylinder_is_weighed_and_swapped(hall: Hall, context: BrowserContext, reactor: Desk) -> None:
    mark = reactor.thing["tag"]
    old, new = (hall.describe("equipment", tag=f"{mark}-{end}", kind="co2_cylinder") for end in ("old", "new"))
    begun = (hall.house.now - timedelta(days=9)).isoformat()
    hall.describe(
        "gas-lines", **{"tag": mark, "from": begun}, cylinder_ids=[old["id"]], reactor_ids=[reactor.thing["id"]]
    )
    desk = Desk(hall, context, old)
    reading(desk.page, "Cylinder gross mass").fill("9,42")
    desk.field("readings", "Also on the scale: cap, regulator, hose").fill("regulator")
    desk.save("readings")
    weight = desk.only("readings")
    assert (weight["value"], weight["unit"], weight["conditions"]) == (9.42, "kg", {"hung_on_scale": "regulator"})
    desk.show("swap")
    desk.field("swap", "Hung on instead").select_option(new["id"])
    desk.save("swap")
    hall.house.now = datetime.now(UTC)
    line = next(each for each in hall.call("GET", "/v1/gas-lines?limit=100") if each["tag"] == mark)
    assert line["cylinder_ids"] == [new["id"]]


def test_dose_top_off_and_water_change(system: Desk) -> None:
    system.show("dose")
    system.field("dose", "Alkalinity").fill("120")
    system.field("dose", "Spread over the last").fill("2")
    system.save("dose")
    system.show("top-off")
    system.field("top-off", "Liquid").select_option("limewater")
    system.field("top-off", "Volume").fill("12,5")
    system.field("top-off", "Strength of the limewater, if measured").fill("38")
    system.save("top-off")
    system.show("water-change")
    system.field("water-change", "Volume").fill("180")
    system.field("water-change", "Alkalinity").fill("7.3")
    system.save("water-change")
    found = {each["kind"]: each for each in system.records("additions")}
    dose = found["dose"]
    assert dose["alkalinity"] == {"value": 120, "unit": "meq"}
    assert datetime.fromisoformat(dose["ended_at"]) - datetime.fromisoformat(dose["started_at"]) == timedelta(hours=2)
    assert is_now(dose["ended_at"])
    assert (found["top_off"]["volume"], found["top_off"]["strength"]) == (
        {"value": 12.5, "unit": "L"},
        {"value": 38, "unit": "meq/L"},
    )
    assert found["water_change"]["new_water"]["alkalinity"] == {"value": 7.3, "unit": "dKH"}


def test_a_dose_by_the_volume_of_a_solution_whose_strength_stays(system: Desk) -> None:
    system.show("dose")
    system.page.locator("#dose summary").filter(has_text="By the volume of a solution").click()
    system.field("dose", "Volume of the solution").fill("40")
    system.page.locator("#dose button[type=submit]").click()
    system.page.locator("#dose .said").get_by_text("How strong is the solution?").wait_for()
    system.field("dose", "Alkalinity in it").fill("1,2")
    system.field("dose", "Alkalinity").fill("50")
    system.page.locator("#dose button[type=submit]").click()
    system.page.locator("#dose .said").get_by_text("Give the amounts or the volume, not both.").wait_for()
    system.field("dose", "Alkalinity").fill("")
    system.save("dose")
    system.show("dose")
    system.page.locator("#dose summary").filter(has_text="By the volume of a solution").click()
    assert system.field("dose", "Alkalinity in it").input_value() == "1,2"
    system.field("dose", "Volume of the solution").fill("10")
    system.save("dose")
    given = {each["alkalinity"]["value"]: each for each in system.records("additions")}  # both in the same minute
    assert sorted(given) == [12, 48]
    assert {each["alkalinity"]["unit"] for each in given.values()} == {"meq"}
    assert given[48]["note"] == "40 mL (alkalinity 1.2 meq/mL)"


def test_set_point_media_work_calibration_stock_note_and_observation(system: Desk, reactor: Desk) -> None:
    system.show("setting")
    system.field("setting", "Target of").select_option("target_alkalinity")
    system.field("setting", "New value").fill("8.3")
    system.field("setting", "Why").fill("more colonies")
    system.save("setting")
    target = next(each for each in system.records("set-points") if each["quantity"] == "target_alkalinity")
    assert (target["value"], target["unit"], target["reason"]) == (8.3, "dKH", "more colonies")

    reactor.show("media")
    reactor.field("media", "Mass").fill("4")
    reactor.save("media")
    assert reactor.only("additions")["mass"] == {"value": 4, "unit": "kg"}

    reactor.show("work")
    reactor.field("work", "What was done").fill("Cleaned the drip line")
    reactor.field("work", "Time it took").fill("15")
    reactor.field("work", "Parts fitted, one a line, such as 2 x O-ring").fill("2 x O-ring\nhose")
    reactor.page.get_by_label("The drip line is as new again").check()
    reactor.save("work")
    reactor.field("work", "What was done").fill("Probe in two buffers")
    reactor.field("work", "Why it was done").select_option("calibration")
    reactor.field("work", "Buffers, such as 7.0 and 10.0").fill("7,0 and 10,0")
    reactor.field("work", "Slope").fill("97.5")
    reactor.save("work")
    done = {each["kind"]: each for each in reactor.records("maintenance-events")}  # both in one second, as it happens
    cleaned, calibrated = done["predetermined"], done["calibration"]
    assert cleaned["parts"] == [{"name": "O-ring", "count": 2}, {"name": "hose", "count": 1}]
    assert (cleaned["minutes"], cleaned["restores"]) == (15, ["effluent_flow"])
    assert calibrated["calibration"]["slope"] == {"value": 97.5, "unit": "%"}
    assert [each["value"] for each in calibrated["calibration"]["buffers"]] == [7.0, 10.0]

    system.show("stock")
    system.field("stock", "Which corals").fill("branching colonies")
    system.field("stock", "How many").fill("24")
    system.save("stock")
    assert (system.only("stock-changes")["kind"], system.only("stock-changes")["count"]) == ("added", 24)
    system.show("handover")
    system.field("handover", "What they should know").fill("the drip is slow")
    system.save("handover")
    assert system.only("handovers")["text"] == "the drip is slow"
    system.show("observation")
    system.field("observation", "What was seen").fill("polyps closed")
    system.save("observation")
    assert (system.only("maintenance-events")["kind"], system.only("maintenance-events")["what"]) == (
        "inspection",
        "polyps closed",
    )


def test_undo_withdraws_what_was_sent_and_a_correction_keeps_the_old_value(system: Desk) -> None:
    page = system.page
    reading(page, "Alkalinity").fill("8.8")
    system.save("readings")
    page.get_by_role("button", name="Undo").click()
    until(page, "document.querySelector('[data-list=here] .state').textContent === 'withdrawn'")
    wait_until(page, "sent", 2)
    assert system.records("readings") == []
    reading(page, "Alkalinity").fill("8.9")
    system.save("readings")
    page.goto(f"{system.hall.url}/phone/waiting")
    page.wait_for_selector("html[data-ready]")
    page.get_by_role("button", name="Correct or withdraw").first.click()
    page.get_by_label("Right value").fill("8,4")
    page.get_by_role("button", name="Correct", exact=True).click()
    page.get_by_text("Say why").wait_for()
    page.get_by_label("Why", exact=True).fill("misread the syringe")
    page.get_by_role("button", name="Correct", exact=True).click()
    wait_until(page, "sent", 4)
    record = system.only("readings")
    assert (record["value"], record["version"], record["correction_reason"]) == (8.4, 2, "misread the syringe")
    versions = system.hall.call("GET", f"/v1/readings/{record['id']}/versions")
    assert [each["value"] for each in versions] == [8.9, 8.4]


def test_off_the_expected_course_it_asks_to_test_again_after_it_is_saved(hall: Hall, context: BrowserContext) -> None:
    thing = hall.a_system(name="Steady")
    hall.house.now = datetime.now(UTC) - timedelta(days=1)
    aside(lambda: titrations(hall.house, thing["id"], [2.9 - 0.01 * day for day in range(20)]))
    hall.house.now = datetime.now(UTC)
    desk = Desk(hall, context, thing)
    reading(desk.page, "Alkalinity").fill("9.9")
    desk.save("readings")
    desk.page.locator("#readings .said").get_by_text("sd off the expected course: test again?").wait_for()
    assert len(desk.records("readings")) == 21


def test_a_phone_whose_clock_is_ahead_sends_the_right_time_and_says_so(system: Desk) -> None:
    page = system.page
    page.add_init_script("Date.now = ((real) => () => real() + 3 * 3600 * 1000)(Date.now)")
    system.show("readings")
    reading(page, "Alkalinity").fill("8.2")
    system.save("readings")
    record = system.only("readings")
    assert is_now(record["taken_at"])
    assert "clock was 180 min off" in record["note"]
    assert states(page) == ["sent"]
