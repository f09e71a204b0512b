"""The plot of a course: right places, honest edges, escaped texts. Checked by geometry, not against stored pictures."""

from __future__ import annotations

import re
import time
import xml.etree.ElementTree as ElementTree
from datetime import datetime, timedelta
from itertools import pairwise
from math import nan, sin
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.reports.plot import ACROSS, DIGIT, DOWN, EMPTY, FIELD, FIELD_WIDTHS, HEIGHT, TOP, Mark, Plot, svg
from service.reports.ticks import time_ticks, value_ticks

SVG = "{http://www.w3.org/2000/svg}"
OSLO = ZoneInfo("Europe/Oslo")
DAY = 86_400.0
START = datetime(2026, 9, 1, tzinfo=OSLO).timestamp()
HOSTILE = '<svg onload="alert(1)">&"\'</script>'


def a_plot(count: int = 40, **fields: Any) -> Plot:
    """A course of so many days around 8."""
    value = [8 + 0.2 * sin(day / 5) for day in range(count)]
    plain: dict[str, Any] = {
        "key": "k",
        "title": "Lagoon",
        "description": "Steady.",
        "unit": "dKH",
        "zone": OSLO,
        "at": [START + DAY * day for day in range(count)],
        "value": value,
        "low": [level - 0.1 for level in value],
        "high": [level + 0.1 for level in value],
    }
    return Plot(**(plain | fields))


def drawn(plot: Plot) -> ElementTree.Element:
    """The plot as a tree; fails unless it is well-formed and free of not-a-number."""
    text = svg(plot)
    assert "nan" not in re.sub(r">[^<]*<", "><", text).lower()
    assert "inf" not in re.sub(r">[^<]*<", "><", text).lower()
    return ElementTree.fromstring(text)  # noqa: S314 our own text


def of_class(root: ElementTree.Element, name: str) -> list[ElementTree.Element]:
    """The elements of a class."""
    return [element for element in root.iter() if name in element.get("class", "").split()]


def path_points(root: ElementTree.Element, name: str) -> list[list[tuple[int, int]]]:
    """The subpaths of the one path of a class, as points in the field's own coordinates."""
    (path,) = of_class(root, name)
    subpaths = [part for part in re.split("[MZ]", path.get("d", "")) if part]
    return [
        list(zip(*[iter(map(int, re.findall(r"-?\d+", re.sub("h0", "", part))))] * 2, strict=True)) for part in subpaths
    ]


class TestAxes:
    def test_levels_rise_upward_in_even_steps(self) -> None:
        labels = of_class(drawn(a_plot()), "plot-level")
        levels = [float(label.text or "") for label in labels]
        heights = [float(label.get("y", "")) for label in labels]
        assert levels == sorted(levels)
        assert heights == sorted(heights, reverse=True)
        assert all(TOP <= height <= TOP + FIELD for height in heights)
        steps = [round(after - before, 9) for before, after in pairwise(levels)]
        assert len(set(steps)) == 1

    @given(low=st.floats(-1e4, 1e4), span=st.floats(1e-3, 1e4))
    def test_value_ticks_are_round_monotone_and_within(self, low: float, span: float) -> None:
        ticks = value_ticks(low, low + span)
        assert 2 <= len(ticks) <= 11
        assert all(before < after for before, after in pairwise(ticks))
        assert low - 1e-6 * span <= ticks[0]
        assert ticks[-1] <= low + span * (1 + 1e-6)

    @given(
        start=st.floats(1e9, 2.5e9),
        days=st.floats(0.2, 4000),
        zone=st.sampled_from(["Europe/Oslo", "Australia/Lord_Howe", "America/New_York", "Asia/Kathmandu"]),
    )
    def test_time_ticks_are_monotone_within_and_few(self, start: float, days: float, zone: str) -> None:
        instants = [at for at, _ in time_ticks(start, start + days * DAY, ZoneInfo(zone))]
        assert all(before < after for before, after in pairwise(instants))
        assert len(instants) <= 10
        assert all(start <= at <= start + days * DAY for at in instants)

    def test_days_begin_at_the_sites_own_midnight_across_a_clock_change(self) -> None:
        # Oslo's clocks went back on 25 October 2026: that day has 25 hours (IANA time zone database).
        start = datetime(2026, 10, 23, tzinfo=OSLO)
        ticks = time_ticks(start.timestamp(), (start + timedelta(days=5)).timestamp(), OSLO)
        assert [label for _, label in ticks] == ["23 Oct", "24 Oct", "25 Oct", "26 Oct", "27 Oct", "28 Oct"]
        gaps = [(after[0] - before[0]) / 3600 for before, after in pairwise(ticks)]
        assert gaps == [24, 24, 25, 24, 24]

    def test_weeks_begin_on_mondays(self) -> None:
        ticks = time_ticks(START, START + 40 * DAY, OSLO)
        assert {datetime.fromtimestamp(at, OSLO).weekday() for at, _ in ticks} == {0}


class TestCourse:
    def test_the_line_goes_through_the_levels(self) -> None:
        plot = a_plot(value=[8.0, 8.5, 8.25], at=[START, START + DAY, START + 3 * DAY], low=[8.0] * 3, high=[8.5] * 3)
        (line,) = path_points(drawn(plot), "plot-course")
        assert [x for x, _ in line] == [0, round(ACROSS / 3), ACROSS]
        (_, lowest), (_, highest), (_, middle) = line
        assert 0 < highest < middle < lowest < DOWN
        assert middle == pytest.approx((lowest + highest) / 2, abs=1)

    def test_the_band_encloses_the_course(self) -> None:
        root = drawn(a_plot())
        (band,), (line,) = path_points(root, "plot-band"), path_points(root, "plot-course")
        upper, lower = band[: len(line)], band[len(line) :][::-1]
        for (x, y), (x_upper, y_upper), (x_lower, y_lower) in zip(line, upper, lower, strict=True):
            assert x == x_upper == x_lower
            assert y_upper < y < y_lower

    def test_a_gap_parts_line_and_band(self) -> None:
        value = [8.0, 8.1, None, nan, 8.2, 8.3, 8.2]
        plot = a_plot(7, value=value, low=[v and v - 0.1 for v in value], high=[v and v + 0.1 for v in value])
        root = drawn(plot)
        assert [len(part) for part in path_points(root, "plot-course")] == [2, 3]
        assert [len(part) for part in path_points(root, "plot-band")] == [4, 6]

    def test_an_unbounded_side_reaches_the_edge_of_the_field(self) -> None:
        (band,) = path_points(drawn(a_plot(4, low=[None] * 4)), "plot-band")
        assert [y for _, y in band[4:]] == [DOWN] * 4
        (band,) = path_points(drawn(a_plot(4, high=[None] * 4)), "plot-band")
        assert [y for _, y in band[:4]] == [0] * 4

    def test_a_wide_band_does_not_flatten_the_course(self) -> None:
        (line,) = path_points(drawn(a_plot(high=[50.0] * 40)), "plot-course")
        heights = [y for _, y in line]
        assert max(heights) - min(heights) > DOWN / 4

    @pytest.mark.parametrize("count", [0, 1])
    def test_nothing_and_a_single_point_are_drawn(self, count: int) -> None:
        root = drawn(a_plot(count))
        assert (EMPTY in "".join(root.itertext())) == (count == 0)
        assert len(of_class(root, "plot-course")) == count

    def test_a_level_that_never_changes_is_drawn(self) -> None:
        flat = a_plot(5, value=[0.0] * 5, low=[0.0] * 5, high=[0.0] * 5)
        (line,) = path_points(drawn(flat), "plot-course")
        assert len({y for _, y in line}) == 1

    def test_readings_alone_are_enough(self) -> None:
        root = drawn(a_plot(0, readings=[Mark(START, 8.0), Mark(START + DAY, 8.2)]))
        assert len(path_points(root, "plot-used")) == 2
        assert path_points(root, "plot-course") == []


class TestMarks:
    def test_shapes_tell_readings_apart_without_colour(self) -> None:
        marks = [Mark(START, 8.0), Mark(START + DAY, 8.1, "set_aside"), Mark(START + 2 * DAY, 8.1, "flagged")]
        root = drawn(a_plot(readings=marks))
        (dot,) = path_points(root, "plot-used")
        assert len(dot) == 1
        (aside,), (flagged,) = of_class(root, "plot-aside"), of_class(root, "plot-flagged")
        assert aside.get("d") != flagged.get("d")

    def test_a_mark_stands_at_its_instant_and_level(self) -> None:
        level = 8.05
        root = drawn(a_plot(readings=[Mark(START + 39 * DAY / 4, level, "set_aside", "Tue: 8.05 dKH")], target=level))
        (mark,), (target,) = of_class(root, "plot-mark"), of_class(root, "plot-target")
        assert mark.get("x") == "25.00%"
        assert mark.get("y") == target.get("y1")
        assert mark.findtext(SVG + "title") == "Tue: 8.05 dKH"

    @pytest.mark.parametrize(("level", "edge"), [(80.0, TOP), (0.8, TOP + FIELD)])
    def test_a_set_aside_outlier_neither_flattens_the_plot_nor_leaves_it(self, level: float, edge: int) -> None:
        without, root = drawn(a_plot()), drawn(a_plot(readings=[Mark(START, level, "set_aside")]))
        assert path_points(root, "plot-course") == path_points(without, "plot-course")
        (mark,) = of_class(root, "plot-mark")
        assert abs(float(mark.get("y", "")) - edge) <= 15
        inside = drawn(a_plot(readings=[Mark(START, 8.0, "set_aside")]))
        assert of_class(root, "plot-aside")[0].get("d") != of_class(inside, "plot-aside")[0].get("d")

    def test_events_are_numbered_in_the_order_given_and_share_a_label_when_close(self) -> None:
        root = drawn(a_plot(events=[START + 5 * DAY, START + 20 * DAY, START + 20.5 * DAY, START + 22 * DAY]))
        assert labels(root, "wide") == ["1", "2–3", "4"]
        assert labels(root, "narrow") == ["1", "2–4"]
        assert len(of_class(root, "plot-event")) == 4

    def test_events_outside_the_course_are_left_out(self) -> None:
        root = drawn(a_plot(events=[START - DAY, START + 5 * DAY]))
        assert labels(root, "wide") == ["2"]

    @given(days=st.lists(st.floats(0, 39), max_size=150))
    def test_no_two_labels_touch_and_every_event_has_one(self, days: list[float]) -> None:
        root = drawn(a_plot(events=[START + day * DAY for day in sorted(days)]))
        for name, pixels in FIELD_WIDTHS.items():
            spans = []
            numbered = 0
            for label in of_class(root, f"plot-{name}"):
                text, place = label.text or "", float(label.get("x", "").rstrip("%")) / 100 * pixels
                spans.append((place, place + len(text) * DIGIT))
                first, _, last = text.partition("–")
                numbered += int(last or first) - int(first) + 1
            assert numbered == len(days)
            assert all(before[1] < after[0] for before, after in pairwise(spans))
            assert all(left >= -0.1 and right <= pixels + 0.1 for left, right in spans)


def labels(root: ElementTree.Element, name: str) -> list[str | None]:
    """The numbers above a field, as a wide or a narrow window shows them."""
    return [label.text for label in of_class(root, f"plot-{name}")]


class TestText:
    def test_every_text_is_escaped(self) -> None:
        plot = a_plot(
            key=HOSTILE,
            title=HOSTILE,
            description=HOSTILE,
            unit=HOSTILE,
            readings=[Mark(START, 8.0, "set_aside", HOSTILE), Mark(START, 8.0, HOSTILE, HOSTILE)],
            target=8.0,
        )
        root = drawn(plot)
        assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
            "svg", "title", "desc", "g", "line", "text", "path",
        }  # fmt: skip
        assert not [name for element in root.iter() for name in element.keys() if name.startswith("on")]  # noqa: SIM118
        assert root.findtext(SVG + "title") == HOSTILE

    def test_it_has_a_name_and_a_description_for_screen_readers(self) -> None:
        root = drawn(a_plot())
        ids = {element.get("id") for element in root}
        assert set(root.get("aria-labelledby", "").split()) <= ids
        assert root.get("role") == "img"

    def test_it_carries_no_style_and_no_script(self) -> None:
        text = svg(a_plot(readings=[Mark(START, 8.0, "set_aside", "x")], events=[START], target=8.0))
        assert "style" not in text
        assert "script" not in text

    def test_its_height_is_as_stated(self) -> None:
        assert drawn(a_plot()).get("height") == str(HEIGHT)


@pytest.mark.benchmark
def test_a_thousand_points_cost_little(capsys: pytest.CaptureFixture[str]) -> None:
    """As a ratio to writing the same coordinates down one by one; the figure is printed."""
    plot = a_plot(1000, readings=[Mark(START + DAY * day, 8.0) for day in range(1000)])

    def best(work: Any) -> float:
        return min(_seconds(work) for _ in range(7))

    def one_by_one() -> str:
        points = [*zip(plot.at, plot.value, strict=True)] * 4  # band there and back, line, readings
        return "".join(f"{(at - START) / DAY:.1f} {level:.2f} " for at, level in points)  # type: ignore[operator]

    drawing, writing = best(lambda: svg(plot)), best(one_by_one)
    with capsys.disabled():
        print(f"\nplot of 1,000 points and readings: {drawing * 1e3:.2f} ms, {drawing / writing:.2f}x one by one")
    assert drawing < 3 * writing


def _seconds(work: Any) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started
