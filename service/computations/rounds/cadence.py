"""When something that is read again and again is due next, from the days it was read on.

Common practice, no source: what is read every few days is due as many days after the last time.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import date, timedelta
from statistics import median

FEWEST_DAYS = 4
GAPS_COUNTED = 8
GIVEN_UP_AFTER_GAPS, GIVEN_UP_AFTER_DAYS = 3, 14


def due_on(days: Sequence[date], today: date) -> date | None:
    """The day on which it was or will be due, seen from before anything was read today.

    `days` are distinct and in order. None below four days before today, and for what has not been read for longer than
    three of its intervals and two weeks: nobody means to read it any more.
    """
    before = [day for day in days if day < today]
    if len(before) < FEWEST_DAYS:
        return None
    gaps = [(later - earlier).days for earlier, later in itertools.pairwise(before)][-GAPS_COUNTED:]
    usual = max(round(median(gaps)), 1)
    due = before[-1] + timedelta(days=usual)
    given_up = timedelta(days=max(GIVEN_UP_AFTER_GAPS * usual, GIVEN_UP_AFTER_DAYS))
    return None if today - due > given_up else due
