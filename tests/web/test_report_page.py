"""The weekly report as a page: all that the report says, escaped, whole when things are unknown."""

from __future__ import annotations

import json
import math
import time
from datetime import timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from web.a_report import HOSTILE, a_report, bounds, hostile, steady, unknown
from web.parsed import Element, assert_harmless, parsed

from service.reports import wording
from service.reports.page import course_plot, render_html
from service.reports.strip import EDGE, MIDDLE, WIDTH, strip

OSLO = ZoneInfo("Europe/Oslo")


def the_page(report: dict[str, Any] | None = None) -> Element:
    """The report's page as a tree."""
    return parsed(render_html(report or a_report()))


def ledger_of(page: Element) -> Element:
    """The table of the systems: the first of the ledgers."""
    return page.every("table", class_="ledger")[0]


def row(page: Element, name: str) -> Element:
    """The ledger line of a system."""
    (found,) = [each for each in ledger_of(page).every("tr") if name in each.text]
    return found


def test_the_ledger_has_one_line_a_system_with_numbers_units_and_intervals() -> None:
    page = the_page()
    ledger = ledger_of(page)
    assert len(ledger.every("tr")) == 1 + 4
    lagoon = [cell.text for cell in row(page, "Lagoon").every("td")]
    assert "0.71 dKH/d 0.67 to 0.76" in lagoon[0]
    assert "0.71 dKH/d 0.66 to 0.76" in lagoon[1]
    assert "8.17 dKH 8.05 to 8.29" in lagoon[2]
    assert "target 8.2\N{NO-BREAK SPACE}dKH".replace("\N{NO-BREAK SPACE}", " ") in lagoon[2]
    assert lagoon[3] == "Steady. Now at its target. 2 readings set aside."


def test_what_is_unknown_is_said_in_words() -> None:
    cells = [cell.text for cell in row(the_page(), "Quarantine").every("td")]
    assert cells[0].endswith("not known yet")
    assert cells[1].endswith("not known yet")
    assert cells[2].endswith("not known yet no target set")
    assert cells[3] == "Not enough readings to say."


def test_an_open_side_of_an_interval_is_said() -> None:
    assert "1.18 dKH/d at least 1.07" in row(the_page(), "Nursery").text
    assert "no bounds from these records" in row(the_page(), "onload").text


def test_a_name_of_markup_stays_text_everywhere() -> None:
    html = render_html(a_report())
    page = parsed(html)
    assert_harmless(page)
    assert "<svg onload" not in html
    assert page.text.count(HOSTILE) >= 12


def test_a_name_of_markup_stays_text_in_a_page_kept_as_one_file() -> None:
    page = parsed(render_html(a_report(), standalone=True))
    assert page.one("style").content
    assert not page.every("script")
    assert not page.every("link")
    assert not [name for element in page.every() for name in element.attributes if name.startswith("on")]


def test_each_line_is_proved_in_a_section_of_its_own() -> None:
    page = the_page()
    lagoon = page.one("section", id="system-1")
    assert row(page, "Lagoon").one("a").attributes["href"] == "#system-1"
    assert lagoon.one("svg", class_="plot").attributes["role"] == "img"
    assert "9.4 standard deviations" in lagoon.text
    assert "Cylinder changed: C-14 for C-11" in lagoon.one("ol").text
    assert not page.one("section", id="system-4").every("svg", class_="plot")


def test_the_house_part_lists_work_corrections_grounds_and_cautions() -> None:
    text = the_page().text
    for words in (
        "Drip line cleaned",
        "25",
        "Keeper on the late shift",
        "no reason given",
        "entry 4127",
        "version 0.1.0",
    ):
        assert words in text
    assert "Follow local codes" in text
    assert the_page().one("a", href="https://doi.org/10.1000/182").text == "doi:10.1000/182"


def test_what_to_do_and_to_order_stand_before_the_ledger_and_what_is_due_after_it() -> None:
    text = the_page().text
    places = [
        text.index(words) for words in ("What to do", "What to order", "What every system uses", "Overdue and due")
    ]
    assert places == sorted(places)
    assert "Give 210 (150 to 270) meq a day more, by dosing." in text
    assert "12 days overdue" in text


def test_a_list_of_hundreds_is_cut_and_says_so() -> None:
    report = a_report()
    page = the_page(report | {"to_do": report["to_do"][:1] * 40})
    assert len(page.one("ol", class_="tasks").every("li")) == 12
    assert "And 28 more, in the parts below." in page.text


def test_a_reactors_row_says_what_it_gives_and_what_to_do_first() -> None:
    (table,) = [
        each for each in the_page().every("table", class_="ledger") if "reactor-rows" in each.attributes["class"]
    ]
    known, unknown_row = table.one("tbody").every("tr")
    for words in (
        "32.6 mL/min",
        "pH 6.64",
        "16.2 g/d",
        "by weighing",
        "11.2 kg left",
        "Brings 0.81 of what Lagoon uses",
        "18 % (7 to 29 %)",
        "14 % less",
        "from 1.10 to 1.25-1.45",
    ):
        assert words in known.text
    for words in ("not checked", "not tested", "gas not known", "media not known", "Feeds no system."):
        assert words in unknown_row.text


def test_calcium_and_magnesium_stand_beside_alkalinity() -> None:
    lagoon = the_page().one("section", id="system-1").one("table", class_="ions").text
    assert "Calcium 1 in the week 421 mg/L 409 to 433 target 420" in lagoon
    assert "Magnesium none this week, last on 12" in lagoon
    assert "cannot be told yet" in lagoon


def test_a_changed_demand_is_said_in_the_ledger_and_in_the_evidence() -> None:
    page = the_page()
    assert "since 24 colonies added" in row(page, "Nursery").text
    assert "since 24 colonies added" in page.one("section", id="system-2").text


def test_a_stored_report_shows_like_a_fresh_one() -> None:
    fresh = a_report()
    stored = json.loads(
        json.dumps(fresh, default=lambda value: str(value) if isinstance(value, UUID) else value.isoformat())
    )
    assert render_html(stored) == render_html(fresh)


def test_an_empty_site_has_a_page() -> None:
    report = a_report([])
    empty = report | {name: [] for name, value in report.items() if isinstance(value, list)}
    page = the_page(empty)
    assert "No systems are described yet." in page.text
    assert "None was recorded." in page.text
    assert not page.every("section", class_="cautions")


def test_a_week_in_which_the_clocks_changed_says_so() -> None:
    assert "clocks changed" not in the_page().text
    assert "169 hours by the clock of Europe/Oslo (the clocks changed)" in the_page(a_report() | {"hours": 169}).text


def test_findings_that_belong_to_no_system_are_shown_once() -> None:
    report = a_report()
    report["findings"] = [
        *report["findings"],
        {"code": "x", "detail": "The hall's CO2 rose.", "subject_id": None, "subject": None},
    ]
    assert the_page(report).text.count("The hall's CO2 rose.") == 1


def test_several_quantities_of_a_system_stand_together() -> None:
    calcium = {**steady(), "quantity": "calcium"}
    page = the_page(a_report([steady(), unknown(), calcium]))
    rows = [each.text for each in ledger_of(page).one("tbody").every("tr")]
    assert ["alkalinity" in rows[0], "calcium" in rows[1], "Quarantine" in rows[2]] == [True, True, True]
    assert len(page.every("section", class_="system")) == 2


@pytest.mark.parametrize(
    ("value", "low", "high", "said"),
    [
        # JCGM 100:2008 7.2.6: two digits of the uncertainty usually suffice; one where its first digit is large.
        (8.1734, 8.0534, 8.2934, "8.17, 8.05 to 8.29"),
        (8.1734, 7.7, 8.6, "8.2, 7.7 to 8.6"),
        (421.3, 409.0, 433.0, "421, 409 to 433"),
        (0.2473, 0.2433, 0.2513, "0.247, 0.243 to 0.251"),
        (1320.0, 1100.0, 1540.0, "1320, 1100 to 1540"),
        (7.31, 7.2, None, "7.31, at least 7.20"),
        (7.31, None, 7.9, "7.3, at most 7.9"),
        (0.2, None, None, "0.20, no bounds from these records"),
        (0.0, 0.0, 0.0, "0.00, 0.00 to 0.00"),
    ],
)
def test_numbers_have_the_decimals_their_interval_supports(
    value: float, low: float | None, high: float | None, said: str
) -> None:
    number = bounds(value, low, high, "dKH")
    assert f"{wording.figure(number)}, {wording.between(number)}" == said


def test_instants_are_told_by_the_sites_clock_to_the_nearest_minute() -> None:
    # Oslo is an hour ahead of UTC in November, two in July (IANA time zone database).
    assert wording.moment("2026-11-19T06:39:59.999999+00:00", OSLO) == "Thu 19\N{NO-BREAK SPACE}Nov 07:40"
    assert wording.moment("2026-07-19T06:40:00+00:00", OSLO) == "Sun 19\N{NO-BREAK SPACE}Jul 08:40"


def test_a_span_names_its_first_and_last_day() -> None:
    assert wording.span("2026-11-16T00:00:00+01:00", "2026-11-23T00:00:00+01:00", OSLO) == (
        "Monday 16 to Sunday 22 November 2026"
    )
    assert wording.span("2026-12-28T00:00:00+01:00", "2027-01-04T00:00:00+01:00", OSLO) == (
        "Monday 28 December 2026 to Sunday 3 January 2027"
    )


def _dot(level: float, low: float | None = None, high: float | None = None) -> Element:
    line = {"level": bounds(level, low, high, "dKH"), "target": {"value": 8.0, "unit": "dKH"}}
    return parsed(str(strip(line)))


def test_the_rule_has_the_target_in_the_middle_and_an_eighth_to_either_side() -> None:
    assert float(_dot(8.0).one("circle").attributes["cx"]) == MIDDLE
    assert float(_dot(8.5).one("circle").attributes["cx"]) == MIDDLE * 1.5
    assert not _dot(9.2).every("circle")
    assert _dot(9.2).one("path", class_="strip-dot").attributes["d"].startswith(f"M{WIDTH}")
    assert _dot(6.0).one("path", class_="strip-dot").attributes["d"].startswith("M0")


def test_an_open_interval_reaches_the_end_of_the_rule() -> None:
    bar = _dot(8.0, low=None, high=8.25).one("path", class_="strip-bar").attributes["d"]
    assert bar == f"M{EDGE:.1f} 8H{MIDDLE * 1.25:.1f}"


@pytest.mark.parametrize(
    "line", [unknown(), steady() | {"target": None}, steady() | {"target": {"value": 2.9, "unit": "meq/L"}}]
)
def test_no_rule_without_a_level_and_a_target_in_one_unit(line: dict[str, Any]) -> None:
    assert strip(line) == ""


def test_the_plot_says_in_words_what_it_shows() -> None:
    plot = parsed(str(course_plot(steady(), "k", OSLO)))
    assert plot.one("desc").text.startswith(
        "Steady. From 31 August 2026 to 23 November 2026. Level 8.17 dKH, 8.05 to 8.29."
    )
    assert "38 readings, 2 of them set aside. 8 events" in plot.one("desc").text
    assert len(plot.every("path", class_="plot-aside")) == 2
    assert HOSTILE in parsed(str(course_plot(hostile(), "k", OSLO))).one("title", id="k-title").text


@pytest.mark.benchmark
def test_five_hundred_systems(capsys: pytest.CaptureFixture[str]) -> None:
    def seconds(count: int) -> float:
        report = a_report([{**steady(), "system_id": UUID(int=1000 + number)} for number in range(count)])
        best = math.inf
        for _ in range(3):
            started = time.perf_counter()
            render_html(report)
            best = min(best, time.perf_counter() - started)
        return best

    small, large = seconds(50), seconds(500)
    with capsys.disabled():
        print(f"\nreport of 500 systems as HTML: {large:.2f} s, {large / small:.1f}x that of 50")
    assert large < 20 * small  # what grows with the square would be 100 times


def test_the_shape_is_the_one_the_report_has() -> None:
    """The invented report is one that the real report's own shape accepts: no drift between the two."""
    from service.reports.weekly.models import WeeklyReport

    lines = a_report()["lines"]
    WeeklyReport.model_validate(a_report())
    assert lines[0]["events"][0]["at"] - lines[0]["events"][1]["at"] == -timedelta(days=14)
