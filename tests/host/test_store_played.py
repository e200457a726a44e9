"""What a box's contacts and collectings say of when a log without a clock was played."""

import random

import pytest
import seasons
from seasons import MINUTE_MS, START_MS, WEEK_MS, Log, Season
from seasons import Met as At

from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.classes.lost import went_on
from handbell.store.classes.parted import parted
from handbell.store.classes.played import Met, by_meetings
from handbell.store.classes.together import FAR_US, MINUTE_US
from handbell.store.classes.together import Log as Fact

HOUR = 60 * MINUTE_US
DAY = 24 * HOUR


@pytest.mark.parametrize(
    ("boot", "met", "came", "since", "until", "had"),
    [
        pytest.param(3, [(1, 2)], [], 1, 50, None, id="of a later start than at a contact"),
        pytest.param(2, [(1, 2)], [], 1, 50, None, id="of the same start, after a collecting"),
        pytest.param(1, [(1, 2)], [], 0, 1, 1, id="of an earlier start: left behind"),
        pytest.param(1, [(1, 2), (9, 3)], [], 0, 1, 1, id="left behind twice"),
        pytest.param(2, [(1, 1), (9, 3)], [9], 1, 9, 9, id="between two collectings"),
        pytest.param(0, [(1, 2), (9, 3)], [], 9, 50, None, id="of a start that is not known"),
        pytest.param(1, [(1, 2)], [9], 0, 1, 1, id="left behind, then one without a contact"),
        pytest.param(1, [(1, 2)], [0.5, 9], 0.5, 1, 1, id="left behind, but not by one before"),
        pytest.param(4, [(49.8, 3), (50, 4)], [], 49.8, 50, None, id="within half an hour"),
        pytest.param(4, [(49.8, 4), (50, 4)], [], 0, 50, None, id="its own collecting, twice"),
        pytest.param(4, [(9, 2), (50, 3)], [9], 9, 50, None, id="of a count before its own"),
        pytest.param(1, [(9, 31), (50, 1)], [9], 9, 50, None, id="counted anew: no earlier start"),
        pytest.param(1, [(9, 31), (50, 2)], [9], 9, 50, 50, id="counted anew, then once more"),
        pytest.param(2, [(9, 3), (20, 0), (50, 4)], [20], 0, 9, 9, id="0 is not known"),
        pytest.param(2, [(9, 3), (60, 1)], [], 0, 9, 9, id="what is after it says nothing"),
        pytest.param(2, [(9, 3), (60, 0)], [70], 0, 9, 9, id="nor does what tells no start"),
    ],
)
def test_contacts_prove_and_collectings_count_by_themselves_else(
    boot, met, came, since, until, had
):
    """Times in hours; the log comes at 50."""
    some = [Met(round(at * HOUR), start, True) for at, start in met]
    when = sorted({*(c.utc_us for c in some), *(round(at * HOUR) for at in came)})
    found = by_meetings(boot, 50 * HOUR, some, when)
    assert found == (since * HOUR, until * HOUR, FAR_US if had is None else had * HOUR)


def test_a_contact_of_arming_tells_a_start_but_is_no_collecting():
    met = [Met(10 * HOUR, 4, False)]
    assert by_meetings(3, 50 * HOUR, met, []) == (0, 10 * HOUR, FAR_US)
    assert by_meetings(4, 50 * HOUR, met, []) == (0, 50 * HOUR, FAR_US)
    assert by_meetings(5, 50 * HOUR, met, []) == (10 * HOUR, 50 * HOUR, FAR_US)


def test_for_certain_only_starts_count():
    met = [Met(10 * HOUR, 4, True)]
    assert by_meetings(4, 50 * HOUR, met, [10 * HOUR, 20 * HOUR], surely=True).since_us == 0
    assert by_meetings(5, 50 * HOUR, met, [10 * HOUR, 20 * HOUR], surely=True).since_us == 10 * HOUR


def test_no_later_contact_or_collecting_changes_anything():
    rng = random.Random(1)
    for _ in range(300):
        at = sorted(rng.sample(range(1, 50), 4))
        met = [Met(h * HOUR, rng.randrange(6), rng.random() < 0.7) for h in at]
        came = sorted(rng.sample(range(1, 50), 3))
        later = [Met(h * HOUR, rng.randrange(6), True) for h in (51, 60)]
        boot = rng.randrange(6)
        found = by_meetings(boot, 50 * HOUR, met, [h * HOUR for h in came])
        more = [*(h * HOUR for h in came), 51 * HOUR, 60 * HOUR]
        assert by_meetings(boot, 50 * HOUR, [*met, *later], more) == found


def fact(run, box, collected_us, boot=1, **more):
    """A log without a clock, of a plan of half an hour."""
    return Fact(
        run, f"{run:04}", str(box), box, None, 30 * MINUTE_US, collected_us, boot=boot, **more
    )


def test_one_log_that_comes_from_another_collecting_leaves_the_others_together():
    """Box 3 alone was collected before, and gave a log in which all may have been."""
    before = fact(1, 3, HOUR)
    some = [fact(10 * box + n, box, 2 * HOUR, boot=n) for box in (1, 2, 4, 5) for n in (1, 2)]
    own = fact(99, 3, 2 * HOUR, boot=2, since_us=HOUR)
    found = parted([before, own, *some]).classes
    assert sorted(len(group) for group in found) == [1, 1, 4, 4]


def test_what_is_collected_later_leaves_no_box_out():
    """Box 3 was not plugged in with the others; boxes 1 and 2 played on, and came with it."""
    some = [fact(box, box, 2 * HOUR) for box in (1, 2, 4, 5)]
    later = [fact(10 + box, box, 9 * DAY, boot=2, since_us=2 * HOUR) for box in (1, 2)]
    found = parted([*some, *later, fact(99, 3, 9 * DAY)]).classes
    assert [1, 2, 4, 5] in [sorted(log.run for log in group) for group in found]


def test_a_late_log_does_not_say_how_many_classes_there_were_where_that_parts_others():
    """Then as many boxes would have three logs as have two."""
    counts = {1: 2, 2: 2, 4: 2, 5: 3}
    some = [fact(10 * box + n, box, 2 * HOUR, boot=n) for box in counts for n in range(counts[box])]
    late = fact(99, 2, 9 * DAY, boot=7, until_us=2 * HOUR, had_us=2 * HOUR)
    for logs in (some, [*some, late]):
        found = [sorted(log.run for log in group) for group in parted(logs).classes]
        assert [10, 20, 40] in found and [11, 21, 41] in found


def test_one_box_that_was_left_behind_since_another_class_still_stays_out():
    before = [fact(box, box, HOUR) for box in (1, 2, 4)]
    now = [fact(10 + box, box, 3 * HOUR, boot=2, since_us=HOUR) for box in (1, 2, 4)]
    left = fact(99, 3, 3 * HOUR)
    found = parted([*before, *now, left]).classes
    assert sorted(len(group) for group in found) == [1, 3, 3]


def test_a_log_that_a_box_had_at_a_collecting_is_filed_as_if_it_had_come_then():
    some = [fact(10 * box + n, box, 2 * HOUR, boot=n) for box in (1, 2) for n in (1, 2)]
    first = fact(31, 3, 2 * HOUR, boot=1)
    late = fact(32, 3, 9 * DAY, boot=2, until_us=2 * HOUR, had_us=2 * HOUR)
    found = parted([*some, first, late]).classes
    assert sorted(sorted(log.run for log in group) for group in found) == [
        [11, 21, 31],
        [12, 22, 32],
    ]


def test_boxes_that_were_all_left_behind_are_put_together_too():
    had = {"until_us": 2 * HOUR, "had_us": 2 * HOUR}
    found = parted([fact(box, box, 9 * DAY, **had) for box in (1, 2, 3)]).classes
    assert [len(group) for group in found] == [3]


def test_the_rest_of_a_class_may_be_left_behind_too():
    """The link broke off behind what was cut off; the same start says nothing of the rest."""
    cut = fact(1, 3, 2 * HOUR, boot=6, cut=True)
    rest = fact(2, 3, 9 * DAY, boot=7, until_us=2 * HOUR, had_us=2 * HOUR)
    since = fact(3, 3, 9 * DAY, boot=7, since_us=2 * HOUR)
    assert went_on(rest, [cut], [cut, rest])
    assert not went_on(since, [cut], [cut, since])


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    with open_store(str(tmp_path_factory.mktemp("played") / "store.sqlite")) as store:
        yield store


@pytest.fixture
def season(opened):
    return Season(opened)


def alone(season, run):
    of = season.of()
    return list(of.values()).count(of[run]) == 1


FIRST_MS, SECOND_MS = START_MS, START_MS + 50 * MINUTE_MS
EVENING_MS = START_MS + 90 * MINUTE_MS


def two_classes_of_which_box_3_is_in_the_first(season, between_ms=EVENING_MS):
    """Boxes 1 and 2 are in both; all are armed. Box 3 is collected ``between_ms``."""
    season.take(Log(3, FIRST_MS, 1, between_ms, 1))
    season.take(*(Log(box, FIRST_MS, 1, EVENING_MS, 1) for box in (1, 2)))
    return season.take(*(Log(box, SECOND_MS, 1, EVENING_MS, 2) for box in (1, 2)))


@pytest.mark.parametrize("boot", [2, 3])
@pytest.mark.parametrize("later_min", [40, 100, 700])
def test_a_collecting_at_which_a_box_had_nothing_is_one(season, boot, later_min):
    """It was off in the second class, and is played alone after it was plugged in with the rest."""
    two_classes_of_which_box_3_is_in_the_first(season, FIRST_MS + 35 * MINUTE_MS)
    late_ms = EVENING_MS + later_min * MINUTE_MS
    season.met(At(3, 2, EVENING_MS), At(3, boot, late_ms - 1000))
    (lone,) = season.take(Log(3, None, boot, late_ms, 3))
    assert alone(season, lone) and season.doubts(lone) == []


def test_half_an_hour_after_its_collecting_a_box_may_have_played_already(season):
    two_classes_of_which_box_3_is_in_the_first(season)
    late_ms = EVENING_MS + 29 * MINUTE_MS
    season.met(At(3, 1, EVENING_MS - 1000), At(3, 2, late_ms - 1000))
    (lone,) = season.take(Log(3, None, 2, late_ms, 3))
    assert alone(season, lone) and season.doubts(lone) == []


def test_what_a_box_had_before_it_was_armed_is_not_of_tonight(season):
    season.take(*(Log(box, START_MS, 1, EVENING_MS, 1) for box in (1, 2, 3)))
    season.met(*(At(box, 4, START_MS + WEEK_MS - 600_000, "arm") for box in (1, 2, 3)))
    week_ms = EVENING_MS + WEEK_MS
    season.take(*(Log(box, START_MS + WEEK_MS, 4, week_ms, 2) for box in (1, 2)))
    season.met(At(3, 5, week_ms - 1000))
    (lone,) = season.take(Log(3, None, 3, week_ms, 3))
    assert alone(season, lone)


@pytest.mark.parametrize("boot", [0, 1, 12])
def test_a_contact_weeks_later_takes_nothing_away(season, boot):
    """Box 3's log of the second class stays behind and comes a week later."""
    two_classes_of_which_box_3_is_in_the_first(season)
    week_ms = EVENING_MS + WEEK_MS
    season.met(At(3, 9, EVENING_MS - 1000), At(3, 10, week_ms - 1000))
    season.take(*(Log(box, FIRST_MS + WEEK_MS, 2, week_ms, 3) for box in (1, 2)))
    (rest,) = season.take(Log(3, None, 8, week_ms, 2))
    of, said = season.of(), season.doubts(rest)
    assert of[rest] == 2 or any("class 2" in words for words in said)
    season.met(At(3, boot, week_ms + WEEK_MS))
    season.take(*(Log(box, FIRST_MS + 2 * WEEK_MS, 3, week_ms + WEEK_MS, 4) for box in (1, 2)))
    assert season.of()[rest] == of[rest] and season.doubts(rest) == said
    assert season.store.doing(joining.file_all) == [] and season.of()[rest] == of[rest]


@pytest.mark.parametrize("late_ms", [90 * MINUTE_MS, WEEK_MS])
@pytest.mark.parametrize(("count", "boxes"), [(2, 4), (3, 8)])
def test_one_log_left_behind_leaves_an_evening_by_hand_whole(season, late_ms, count, boxes):
    at_ms = START_MS + 200 * MINUTE_MS
    for box in range(1, boxes + 1):
        season.met(At(box, 9, at_ms - 1000))
        for n in range(count - (box == 3)):
            season.take(Log(box, None, 6 + n, at_ms, n))
    before = season.right()
    assert sorted(map(len, before)) == [boxes - 1] * count
    season.met(At(3, 10, at_ms + late_ms - 1000))
    season.take(Log(3, None, 5 + count, at_ms + late_ms, count - 1))
    whole = season.right()
    assert sorted(map(len, whole)) == [boxes] * count
    assert all(any(some <= one for one in whole) for some in before)


def shuffled(came, rng):
    """Return all logs in another order, each box's in its own."""
    logs = {}
    for one in came:
        logs.setdefault(one.box, []).append(one)
    order = [box for box, some in logs.items() for _ in some]
    rng.shuffle(order)
    return [logs[box].pop(0) for box in order]


SEASONS = {
    "by hand": {"by_hand": 1.0},
    "both": {"weeks": 3},
    "also alone": {"alone": 0.5, "off": 0.15, "by_hand": 0.2},
}


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("kind", SEASONS)
def test_seasons_with_broken_links_are_filed_in_any_order_and_tear_no_class(opened, kind, seed):
    """Beyond seeds here: ``seasons.drawn`` with as many as you like."""
    season, told = Season(opened), []
    came = seasons.drawn(seed, **{"weeks": 2, "boxes": 3, "broken": 0.5} | SEASONS[kind])
    for some in came:
        before = season.right()
        season.met(*(one for one in some if isinstance(one, At)))
        season.take(*(one for one in some if isinstance(one, Log)))
        of = season.of()
        told += [group for group in before if len({of[run] for run in group}) > 1]
    assert told == [] and season.silently_mixed() == []
    filed = season.parts()
    assert opened.doing(joining.file_all) == [] and season.parts() == filed
    again = Season(opened)
    again.met(*(one for some in came for one in some if isinstance(one, At)))
    logs = [one for some in came for one in some if isinstance(one, Log)]
    again.take(*shuffled(logs, random.Random(seed)))
    assert again.parts() == filed
