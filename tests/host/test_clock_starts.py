"""When a class starts: near, tomorrow, refused, and on the two nights when the clocks change."""

import time
from datetime import datetime, timedelta, timezone

import pytest

from handbell.base.errors import UsageError
from handbell.work.in_class.starts import start_of

zoneinfo = pytest.importorskip("zoneinfo")
try:
    BERLIN, NEW_YORK, LORD_HOWE = (
        zoneinfo.ZoneInfo(n) for n in ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe")
    )
except zoneinfo.ZoneInfoNotFoundError:  # pragma: no cover
    pytest.skip("no time zone database here: pip install tzdata", allow_module_level=True)


def at(word, now: datetime, zone=BERLIN):
    """The start for --at, with the words, in the zone's own time."""
    start = start_of(int(now.timestamp() * 1e6), at=word, zone=zone)
    assert start.utc_ms % 1000 == 0
    return datetime.fromtimestamp(start.utc_ms / 1000, timezone.utc).astimezone(zone), start.words


def local(text: str, zone=BERLIN, fold: int = 0) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=zone, fold=fold)


@pytest.mark.parametrize(
    "now, word, expected",
    [
        ("2026-11-25 17:20", "18:00", "2026-11-25 18:00"),
        ("2026-11-25 17:20", "18:00:30", "2026-11-25 18:00:30"),
        ("2026-11-25 23:50", "00:10", "2026-11-26 00:10"),  # across midnight
        ("2026-11-25 22:00", "07:30", "2026-11-26 07:30"),  # 14.5 h ago, 9.5 h ahead
        ("2026-11-25 20:00", "07:59", "2026-11-26 07:59"),
        ("2026-12-31 23:59:30", "0:05", "2027-01-01 00:05"),
        ("2026-11-25 20:00", "2026-11-26 09:00", "2026-11-26 09:00"),
        ("2026-11-25 20:00", "2026-11-27T09:00", "2026-11-27 09:00"),
    ],
)
def test_the_nearest_such_time(now, word, expected):
    start, words = at(word, local(now))
    assert start == local(expected) and words == ""


@pytest.mark.parametrize(
    "now, word, told",
    [
        ("2026-11-25 18:02", "18:00", r'18:00 was 2 min ago. Say --in 1m .*"2026-11-26 18:00"'),
        ("2026-11-25 18:00", "18:00", "18:00 was 0 s ago"),
        ("2026-11-25 20:00", "09:00", r'09:00 was 11 h 0 min ago.*--at "2026-11-26 09:00"'),
        ("2026-11-26 00:05", "23:55", "23:55 was 10 min ago"),
        ("2026-11-25 20:00", "2026-11-25 19:00", "19:00 was 1 h 0 min ago"),
        ("2026-11-25 20:00", "2026-11-28 21:00", "too far away. Two days ahead"),
        ("2026-11-25 20:00", "24:00", "is no time of day"),
        ("2026-11-25 20:00", "6pm", "is no time of day"),
        ("2026-11-25 20:00", "2026-02-30 10:00", "is no time of day"),
        ("2026-11-25 20:00", "", "is no time of day"),
    ],
)
def test_what_has_gone_by_or_is_no_time_is_refused(now, word, told):
    with pytest.raises(UsageError, match=told):
        at(word, local(now))


def test_the_remedy_can_be_typed_as_it_stands():
    now = local("2026-11-25 20:00")
    with pytest.raises(UsageError) as refused:
        at("09:00", now)
    word = refused.value.remedy.split('"')[1]
    assert at(word, now)[0] == local("2026-11-26 09:00")


def test_a_class_after_the_change_to_summer_time_is_an_hour_sooner():
    # Berlin 2026-03-29: 02:00 becomes 03:00 (zoneinfo)
    now = local("2026-03-28 22:00")
    start, words = at("09:00", now)
    assert words == ""
    assert start.utcoffset() == timedelta(hours=2)
    assert start.timestamp() - now.timestamp() == 10 * 3600


def test_a_time_that_does_not_exist_comes_as_long_after_the_change():
    start, words = at("02:30", local("2026-03-29 01:40"))
    assert start == local("2026-03-29 03:30")
    assert start.timestamp() - local("2026-03-29 01:40").timestamp() == 50 * 60
    assert words == "There is no 02:30 that day: the clocks are put forward"
    start, words = at("2:15", local("2026-03-08 01:59", NEW_YORK), NEW_YORK)
    assert f"{start:%H:%M}" == "03:15" and words


def test_a_time_that_comes_twice_is_the_first_that_is_ahead():
    # Berlin 2026-10-25: 03:00 becomes 02:00 (zoneinfo)
    first, words = at("02:30", local("2026-10-25 01:50"))
    assert first.utcoffset() == timedelta(hours=2)
    assert words == "02:30 comes twice that day: the first one is meant"
    second, words = at("02:30", local("2026-10-25 02:40", fold=0))
    assert second.utcoffset() == timedelta(hours=1)
    assert second.timestamp() - first.timestamp() == 3600
    assert "the first has gone by, this is the second" in words
    with pytest.raises(UsageError, match="was 10 min ago"):
        at("02:30", local("2026-10-25 02:40", fold=1))


def test_a_change_of_half_an_hour():
    # Lord Howe 2026-10-04: 02:00 becomes 02:30 (zoneinfo)
    start, words = at("02:10", local("2026-10-04 01:55", LORD_HOWE), LORD_HOWE)
    assert f"{start:%H:%M}" == "02:40" and words


def test_a_class_on_the_evening_of_the_longer_day_is_an_hour_later():
    now = local("2026-10-24 20:00")
    start, _ = at("2026-10-25 20:00", now)
    assert start.timestamp() - now.timestamp() == 25 * 3600


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="Windows has no tzset")
def test_the_computers_own_zone_is_taken_by_default(monkeypatch):
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        now_us = int(local("2026-03-29 01:40").timestamp() * 1e6)
        start = start_of(now_us, at="02:30")
        assert start.utc_ms == local("2026-03-29 03:30").timestamp() * 1000 and start.words
    finally:
        monkeypatch.undo()
        time.tzset()


def test_now_and_in_do_not_care_for_zones():
    now_us = 1_700_000_003_400_000
    assert start_of(now_us).utc_ms == 1_700_000_020_000
    for within, expected in (("90s", 93), ("5m", 303), ("5s", 8), ("2h", 7203)):
        assert start_of(now_us, within).utc_ms == (1_700_000_000 + expected) * 1000


@pytest.mark.parametrize("word", ["5", "m", "0m", "-5m", "1.5h", "", "x", "10000000000s"])
def test_what_is_no_length_of_time_is_refused(word):
    with pytest.raises(UsageError, match=f"--in {word} is"):
        start_of(1_700_000_003_400_000, word)


@pytest.mark.parametrize("word", ["1s", "2s", "4s"])
def test_too_soon_is_refused_with_the_least_that_works(word):
    with pytest.raises(UsageError, match=f"--in {word} is too soon. --in 5s is the least"):
        start_of(1_700_000_003_400_000, word)
