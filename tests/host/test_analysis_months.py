"""Load, trends, comparison and attendance: what is shown, and what thin data does not show."""

from datetime import date, timedelta

import pytest

from handbell.analysis.past.load import Deviation, Rated, week_of, weeks_of
from handbell.analysis.trend import compared, trend_of
from handbell.base.robust import QUARTILES_LEAST, quartiles

MONDAY = date(2026, 9, 7)


def rated(day, rating=7, minutes=60.0):
    return Rated(MONDAY + timedelta(days=day), minutes, rating)


def test_a_week_adds_up_classes_of_one_day():
    (week,) = weeks_of([rated(0), rated(0, 3, 30), rated(2)])
    assert (week.first, week.classes, week.total) == (MONDAY, 3, 930)
    assert week.deviation is Deviation.SAMPLE and week.monotony is not None


def test_an_unrated_class_leaves_its_week_without_a_load_and_says_so():
    first, second = weeks_of([rated(0), rated(1, None), rated(7), rated(9)])
    assert (first.total, first.strain, first.why_not) == (None, None, "1 of 2 classes not rated")
    assert second.total == 840


def test_a_week_of_one_day_has_no_monotony():
    (week,) = weeks_of([rated(3)])
    assert (week.total, week.monotony, week.strain) == (420, None, None)
    assert "one day" in week.why_not


def test_a_week_of_seven_equal_days_has_no_monotony():
    (week,) = weeks_of([rated(day) for day in range(7)])
    assert (week.total, week.monotony, week.why_not) == (2940, None, "every day alike")


def test_a_rating_of_nought_is_an_answer():
    (week,) = weeks_of([rated(0, 0)])
    assert (week.total, week.monotony) == (0, None)


def test_weeks_without_a_class_are_there():
    weeks = weeks_of([rated(0), rated(21)])
    assert [w.total for w in weeks] == [420, 0, 0, 420]
    assert weeks[1].why_not == "no load"


def test_a_week_begins_on_monday():
    assert week_of(date(2027, 1, 3)) == date(2026, 12, 28)


def test_nothing_rated_is_no_week():
    assert weeks_of([]) == []


def test_two_classes_give_no_trend_line():
    trend = trend_of([0, 7], [20, 24])
    assert trend.weekly is None and trend.change_percent is None
    assert trend.why_not == "2 classes, a trend needs 5"


def test_five_classes_on_one_day_give_none_either():
    assert trend_of([0] * 5, [1, 2, 3, 4, 5]).weekly is None


def test_a_trend_is_told_by_the_week_with_its_interval():
    trend = trend_of([0, 7, 14, 21, 28, 35], [20, 22, 24, 60, 28, 30])
    assert trend.weekly.slope == pytest.approx(2, abs=0.5)  # one wild value moves it little
    assert trend.weekly.low <= 2 <= trend.weekly.high
    assert trend.change_percent == pytest.approx(100 * trend.weekly.slope * 5 / 26)


def test_noise_gives_no_sure_trend():
    trend = trend_of([0, 7, 14, 21, 28], [20, 24, 19, 23, 21])
    assert not trend.weekly.sure


def test_one_class_beside_the_own_last_ones_and_the_group():
    one = compared(22, [10, 20, 20, 20, 20, 22], [18, 20, 21, 30])
    assert (one.own_median, one.own_count) == (20, 5)
    assert (one.group.count, one.group.median) == (4, 20.5)


def test_too_little_to_compare_with_is_none():
    one = compared(22, [20], [])
    assert (one.own_median, one.group) == (None, None)


def test_least_numbers_are_kept():
    assert quartiles([1, 2, 3]).low is None and quartiles([1, 2, 3]).median == 2
    assert quartiles([1] * QUARTILES_LEAST).low == 1
