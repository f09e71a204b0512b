"""Recurrence rules against the examples of RFC 5545, section 3.8.5.3 (from memory of it), and what is refused.

The examples hold a time of day; a plan has days only, so their days are compared.
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import islice, pairwise

import pytest

from service.resources.records.maintenance_plans.recurrence import NotARule, read

EXAMPLES = [
    ("FREQ=DAILY;INTERVAL=10", "1997-09-02", "0902 0912 0922 1002 1012"),
    ("FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=MO,WE,FR", "1997-09-01", "0901 0903 0905 0915 0917 0919 0929 1001 1003"),
    ("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,SU;WKST=MO", "1997-08-05", "0805 0810 0819 0824"),
    ("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,SU;WKST=SU", "1997-08-05", "0805 0817 0819 0831"),
    ("FREQ=MONTHLY;BYDAY=1FR", "1997-09-05", "0905 1003 1107 1205 0102 0206 0306 0403 0501 0605"),
    ("FREQ=MONTHLY;INTERVAL=2;BYDAY=1SU,-1SU", "1997-09-07", "0907 0928 1102 1130 0104 0125 0301 0329 0503 0531"),
    ("FREQ=MONTHLY;BYDAY=-2MO", "1997-09-22", "0922 1020 1117 1222 0119 0216"),
    ("FREQ=MONTHLY;BYMONTHDAY=-3", "1997-09-28", "0928 1029 1128 1229 0129 0226"),
    ("FREQ=MONTHLY;BYMONTHDAY=15,30", "2007-01-15", "0115 0130 0215 0315 0330"),  # 30 February is left out
    ("FREQ=MONTHLY;BYDAY=TU,WE,TH;BYSETPOS=3", "1997-09-04", "0904 1007 1106"),
    ("FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2", "1997-09-29", "0929 1030 1127 1230 0129 0226 0330"),
    ("FREQ=YEARLY;BYDAY=20MO", "1997-05-19", "0519 0518 0517"),
    ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "1997-05-12", "0512 0511 0517"),
    ("FREQ=YEARLY;INTERVAL=2;BYMONTH=1,2,3", "1997-03-10", "0310 0110 0210 0310 0110 0210 0310"),
    ("FREQ=YEARLY;INTERVAL=3;BYYEARDAY=1,100,200", "1997-01-01", "0101 0410 0719 0101 0409 0718"),
]


@pytest.mark.parametrize(("text", "begun", "days"), EXAMPLES)
def test_dates_are_those_of_the_standard(text: str, begun: str, days: str) -> None:
    wanted = days.split()
    start = date.fromisoformat(begun)
    rule = read(text, begun=start)
    found = list(islice(rule.dates(start), len(wanted)))
    assert [f"{day:%m%d}" for day in found] == wanted
    for before, after in pairwise(found):
        assert rule.next_on_or_after(before + timedelta(days=1), begun=start) == after


@pytest.mark.parametrize("text", ["FREQ=DAILY;INTERVAL=3", "FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=MO,WE,FR"])
def test_a_rule_begun_long_ago_gives_the_same_dates_as_one_followed_from_its_beginning(text: str) -> None:
    begun = date(2011, 5, 4)
    rule = read(text, begun=begun)
    followed = list(islice(rule.dates(begun), 900))
    for day in followed[800:]:
        assert rule.next_on_or_after(day, begun=begun) == day


@pytest.mark.parametrize(
    ("text", "done", "due"),
    [
        ("FREQ=MONTHLY", "2026-01-31", "2026-02-28"),  # a day that the month lacks: its last one
        ("FREQ=MONTHLY", "2028-01-31", "2028-02-29"),
        ("FREQ=MONTHLY;INTERVAL=6", "2026-08-31", "2027-02-28"),
        ("FREQ=YEARLY", "2028-02-29", "2029-02-28"),
        ("FREQ=DAILY;INTERVAL=10", "2026-02-25", "2026-03-07"),
        ("FREQ=WEEKLY;INTERVAL=2", "2026-12-24", "2027-01-07"),
        ("FREQ=WEEKLY;BYDAY=MO,TH", "2026-11-24", "2026-11-26"),  # a Tuesday, a Thursday
        ("FREQ=MONTHLY;BYDAY=1MO", "2026-11-02", "2026-12-07"),
        ("FREQ=MONTHLY;BYMONTHDAY=-1", "2026-01-31", "2026-02-28"),
    ],
)
def test_the_interval_counts_from_the_day_of_the_work(text: str, done: str, due: str) -> None:
    rule = read(text, begun=date(2026, 1, 1))
    assert rule.next_after_done(date.fromisoformat(done)) == date.fromisoformat(due)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("FREQ=HOURLY", "by days"),
        ("FREQ=MINUTELY;INTERVAL=30", "by days"),
        ("FREQ=DAILY;BYHOUR=8,20", "leave BYHOUR out"),
        ("FREQ=FORTNIGHTLY", "FREQ of DAILY"),
        ("INTERVAL=2", "FREQ of DAILY"),
        ("every six months", "NAME=VALUE"),
        ("FREQ=MONTHLY;", "NAME=VALUE"),
        ("RRULE:FREQ=MONTHLY", "The rule alone"),
        ("DTSTART:20260101\nRRULE:FREQ=MONTHLY", "The rule alone"),
        ("FREQ=MONTHLY;FREQ=DAILY", "twice"),
        ("FREQ=MONTHLY;COUNT=3", "ends at its `to`"),
        ("FREQ=MONTHLY;UNTIL=20270101", "ends at its `to`"),
        ("FREQ=MONTHLY;INTERVAL=0", "from 1"),
        ("FREQ=MONTHLY;INTERVAL=-1", "from 1"),
        ("FREQ=MONTHLY;INTERVAL=1.5", "from 1"),
        ("FREQ=MONTHLY;INTERVAL=121", "ten years"),
        ("FREQ=YEARLY;INTERVAL=9999", "ten years"),
        ("FREQ=MONTHLY;BYEASTER=0", "no part"),
        ("FREQ=MONTHLY;X-MOON=FULL", "no part"),
        ("FREQ=MONTHLY;BYMONTHDAY=32", "1 to 31"),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "1 to 31"),
        ("FREQ=YEARLY;BYMONTH=-1", "1 to 12"),
        ("FREQ=YEARLY;BYWEEKNO=54", "1 to 53"),
        ("FREQ=WEEKLY;BYMONTHDAY=1", "does not go with WEEKLY"),
        ("FREQ=MONTHLY;BYYEARDAY=100", "does not go with MONTHLY"),
        ("FREQ=MONTHLY;BYWEEKNO=20", "does not go with MONTHLY"),
        ("FREQ=WEEKLY;BYDAY=1MO", "MONTHLY and YEARLY only"),
        ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=1MO", "MONTHLY and YEARLY only"),
        ("FREQ=MONTHLY;BYDAY=0MO", "BYDAY of MO"),
        ("FREQ=MONTHLY;BYDAY=MONDAY", "BYDAY of MO"),
        ("FREQ=MONTHLY;WKST=1MO", "WKST of one"),
        ("FREQ=MONTHLY;BYSETPOS=1", "another BY part"),
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "no two days"),
        ("FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "no two days"),
        ("FREQ=YEARLY;INTERVAL=4;BYMONTH=2;BYMONTHDAY=29", "no two days"),  # never in a leap year from 2026 on
        ("FREQ=MONTHLY;BYDAY=1MO;BYSETPOS=2", "no two days"),
    ],
)
def test_what_no_plan_can_follow_is_refused(text: str, says: str) -> None:
    with pytest.raises(NotARule, match=says):
        read(text, begun=date(2026, 1, 1))


def test_letter_case_does_not_matter() -> None:
    assert read("freq=weekly;byday=mo", begun=date(2026, 1, 1)).text == "FREQ=WEEKLY;BYDAY=MO"
