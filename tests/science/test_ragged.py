"""Columns end to end against the same work done one record after another by numpy's own functions."""

import numpy as np

from service.science.ragged import (
    distinct,
    end_to_end,
    first_entries,
    medians,
    places,
    records,
    straight_between,
    stretches,
)

RANDOM = np.random.default_rng(7)
COLUMNS = [np.round(RANDOM.uniform(-40.0, 180.0, count), 1) for count in (5, 0, 1, 60, 12)]


def test_places_sort_by_record_and_keep_every_digit_of_an_instant() -> None:
    days = [column + np.pi * 1e-9 for column in COLUMNS]
    found = distinct(places(*reversed(end_to_end(days))))
    for number, column in enumerate(days):
        np.testing.assert_array_equal(found.imag[records(found) == number], np.unique(column))


def test_a_median_is_that_of_each_record_alone() -> None:
    values, record = end_to_end(COLUMNS)
    found = medians(values, record, len(COLUMNS) + 1)
    assert np.isnan(found[[1, 5]]).all()
    np.testing.assert_array_equal(found[[0, 2, 3, 4]], [np.median(COLUMNS[number]) for number in (0, 2, 3, 4)])


def test_straight_between_is_interpolation_in_each_record_alone() -> None:
    known = [np.unique(column) for column in COLUMNS]
    value = [np.sin(days) for days in known]
    at, of = end_to_end([RANDOM.uniform(-60.0, 200.0, 9) if len(days) else days for days in known])
    at[:2] = known[0][[0, -1]]
    found = straight_between(places(of, at), places(*reversed(end_to_end(known))), end_to_end(value)[0])
    alone = [np.interp(at[of == number], known[number], value[number]) for number in (0, 2, 3, 4)]
    np.testing.assert_allclose(found, np.concatenate(alone), rtol=1e-12, atol=1e-15)


def test_stretches_are_the_entries_of_some_records_one_after_the_other() -> None:
    _, record = end_to_end(COLUMNS)
    first = first_entries(record, len(COLUMNS))
    assert first.tolist() == [0, 5, 5, 6, 66, 78]
    wanted = np.array([4, 0, 1, 0])
    entry, stretch = stretches(first[wanted], np.diff(first)[wanted])
    assert entry.tolist() == [*range(66, 78), *range(5), *range(5)]
    assert stretch.tolist() == [0] * 12 + [1] * 5 + [3] * 5
