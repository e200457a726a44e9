"""What a plan becomes: order and length of spans, who is where, turns, tallies, ratings."""

import io
import itertools

import pytest

from handbell.base.errors import PlanError
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell_core import timeline as t


def compiled(text):
    return build(parse_plan(text.encode()))


def spans(built, box=1):
    reader = t.Reader(io.BytesIO(built.timelines[box - 1].data))
    found = [reader.span(n, t.Span()) for n in range(reader.head.spans)]
    for s in found:
        for key in ("name", "next", "who"):
            index = getattr(s, key)
            setattr(s, key, "" if index == t.NO_TEXT else reader.text(index).decode("latin-1"))
    return found


def line(built, box=1):
    """The timeline as ``kind seconds`` words, ratings left out."""
    return " ".join(
        f"{t.KINDS[s.kind]} {s.duration_ms / 1000:g}"
        for s in spans(built, box)
        if s.kind != t.RATING
    )


def lanes(block="", second="", top="lead_in_s = 0"):
    return f"""
title = "T"
{top}
[[block]]
{block}
[[block.exercise]]
name = "A"
work_s = 30
[[block.exercise]]
name = "B"
work_s = 20
{second}
"""


ORDERS = {
    "plain": (lanes(), "window 30 window 20"),
    "lead-in first": (lanes(top=""), "lead-in 10 window 30 window 20"),
    "rest after each window but the last": (
        lanes("rounds = 2\nrest_s = 5"),
        "window 30 rest 5 window 20 rest 5 window 30 rest 5 window 20",
    ),
    "rest between rounds instead": (
        lanes("rounds = 2\nrest_s = 5\nround_rest_s = 60"),
        "window 30 rest 5 window 20 rest 60 window 30 rest 5 window 20",
    ),
    "no rest between rounds": (
        lanes("rounds = 2\nrest_s = 5\nround_rest_s = 0"),
        "window 30 rest 5 window 20 window 30 rest 5 window 20",
    ),
    "an exercise's own rest": (
        lanes("rounds = 2\nrest_s = 5", "rest_s = 8"),
        "window 30 rest 5 window 20 rest 8 window 30 rest 5 window 20",
    ),
    "own rest of none": (
        lanes("rounds = 2\nrest_s = 5", "rest_s = 0"),
        "window 30 rest 5 window 20 window 30 rest 5 window 20",
    ),
    "the last rest too": (
        lanes("rest_s = 5\nrest_after_last = true"),
        "window 30 rest 5 window 20 rest 5",
    ),
    "the last rest as if another round followed": (
        lanes("rest_s = 5\nround_rest_s = 60\nrest_after_last = true"),
        "window 30 rest 5 window 20 rest 60",
    ),
    "rest, then change": (
        lanes("rounds = 2\nrest_s = 5\nchange_s = 7"),
        "window 30 rest 5 change 7 window 20 rest 5 change 7 window 30 rest 5 change 7 window 20",
    ),
    "warm-up, change, cool-down": (
        lanes(
            top="lead_in_s = 3\nchange_s = 7\n[[warm_up]]\nname='W'\nwork_s=60\n[[warm_up]]\n"
            "name='V'\nwork_s=30\n[[cool_down]]\nname='C'\nwork_s=90"
        ),
        "lead-in 3 warm-up 60 warm-up 30 change 7 window 30 change 7 window 20 cool-down 90",
    ),
    "a gate first, in place of the change": (
        lanes("gate = true", top="lead_in_s = 3\nchange_s = 7\n[[warm_up]]\nname='W'\nwork_s=60"),
        "lead-in 3 warm-up 60 gate 0 window 30 change 7 window 20",
    ),
}
TWO = """
title = "T"
lead_in_s = 0
change_s = 6
{top}
[[block]]
rounds = 2
{first}
[[block.exercise]]
name = "A"
work_s = 30
[[block]]
{second}
[[block.exercise]]
name = "B"
work_s = 20
"""


def two(first="", second="", top=""):
    return TWO.format(first=first, second=second, top=top)


ORDERS |= {
    "one exercise has no change; blocks do": (two(), "window 30 window 30 change 6 window 20"),
    "the next block's change": (
        two("change_s = 8", "change_s = 9"),
        "window 30 window 30 change 9 window 20",
    ),
    "break, never after the last": (
        two(top="break_s = 45"),
        "window 30 window 30 break 45 window 20",
    ),
    "a block's own break, never after the last": (
        two("break_s = 50", "break_s = 55", top="break_s = 45"),
        "window 30 window 30 break 50 window 20",
    ),
    "no break after this one": (
        two("break_s = 0", top="break_s = 45"),
        "window 30 window 30 change 6 window 20",
    ),
    "gate": (two(second="gate = true"), "window 30 window 30 gate 0 window 20"),
    "rest, break, gate": (
        two("rest_s = 5\nrest_after_last = true", "gate = true", top="break_s = 45"),
        "window 30 rest 5 window 30 rest 5 break 45 gate 0 window 20",
    ),
}


@pytest.mark.parametrize(("text", "expected"), ORDERS.values(), ids=ORDERS.keys())
def test_order(text, expected):
    assert line(compiled(text)) == expected


def test_totals_and_head():
    built = compiled(
        lanes(
            "rounds = 2\nrest_s = 5\nrest_after_last = true\ngate = true",
            top="grid_s = 15\nsilent = true\nbuttons = 3\nboxes = 2\n[[warm_up]]\nname='W'\n"
            "work_s=60\n[[cool_down]]\nname='C'\nwork_s=90",
        )
    )
    totals = built.totals
    assert (totals.total_ms, totals.slot_ms) == (120_000, 280_000)
    assert (totals.work_ms, totals.rest_ms) == (100_000, 20_000)
    assert (totals.windows, totals.boxes, built.buttons) == (4, 2, 3)
    for number, timeline in enumerate(built.timelines, 1):
        file = io.BytesIO(timeline.data)
        head = t.verify(file)
        assert t.digest_of(file) == timeline.digest
        assert (head.total_ms, head.slot_ms, head.windows) == (120_000, 280_000, 4)
        assert (head.station, head.buttons, head.grid_s, head.count_s) == (number, 3, 15, 0)
        assert head.flags == t.SILENT
        assert head.plan == built.plan.digest
        assert timeline.label == f"Station {number}"
        assert t.Reader(file).text(t.STATION_LABEL) == timeline.label.encode()


def test_what_each_window_asks():
    text = """
title = "T"
lead_in_s = 0
[[block]]
rounds = 2
  [[block.exercise]]
  name = "Open"
  work_s = [30, 20]
  goal = [9, 7]
  tap = { every = 3 }
  [[block.exercise]]
  name = "Target"
  work_s = 30
  reps = [12, 10]
  tap = "finish"
  both_sides = true
  [[block.exercise]]
  name = "Hold"
  work_s = 30
  hold = true
  [[block.exercise]]
  name = "Free"
  work_s = 30
  tap = "none"
"""
    found = [
        (s.name, s.round, s.item, s.window, s.duration_ms, s.ask, s.goal, s.tap, s.every, s.flags)
        for s in spans(compiled(text))
    ]
    assert found == [
        ("Open", 1, 1, 1, 30_000, t.ASK_OPEN, 9, t.TAP_EVERY, 3, 0),
        ("Target", 1, 2, 2, 30_000, t.ASK_TARGET, 12, t.TAP_FINISH, 1, t.BOTH_SIDES),
        ("Hold", 1, 3, 3, 30_000, t.ASK_HOLD, 0, t.TAP_DROP, 1, 0),
        ("Free", 1, 4, 4, 30_000, t.ASK_OPEN, 0, t.TAP_NONE, 1, 0),
        ("Open", 2, 1, 5, 20_000, t.ASK_OPEN, 7, t.TAP_EVERY, 3, 0),
        ("Target", 2, 2, 6, 30_000, t.ASK_TARGET, 10, t.TAP_FINISH, 1, t.BOTH_SIDES),
        ("Hold", 2, 3, 7, 30_000, t.ASK_HOLD, 0, t.TAP_DROP, 1, 0),
        ("Free", 2, 4, 8, 30_000, t.ASK_OPEN, 0, t.TAP_NONE, 1, t.LAST_WINDOW),
    ]


def test_each_span_names_what_comes_next():
    built = compiled(
        lanes(
            "rest_s = 5",
            top="[[warm_up]]\nname='W'\nwork_s=60\n[[cool_down]]\nname='C'\nwork_s=90",
        )
    )
    assert [(t.KINDS[s.kind], s.name, s.next) for s in spans(built)] == [
        ("lead-in", "", "W"),
        ("warm-up", "W", "A"),
        ("window", "A", "B"),
        ("rest", "", "B"),
        ("window", "B", "C"),
        ("cool-down", "C", ""),
    ]


GROUPS = """
[[group]]
name = "Red"
bibs = [1, 2, 3]
[[group]]
name = "Sea"
bibs = [4]
"""


def turns(built, box):
    return [tuple(b for b in s.bib if b) for s in spans(built, box) if s.kind == t.WINDOW]


def test_turns_by_window_begin_one_further_on_each_round():
    built = compiled(lanes("rounds = 3", top='buttons = 2\nturns = "window"\n' + GROUPS))
    assert turns(built, 1) == [(1, 2), (3,), (3,), (1, 2), (1, 2), (3,)]
    assert turns(built, 2) == [(4,)] * 6
    assert built.warnings == []


def test_turns_by_round():
    built = compiled(lanes("rounds = 3", top='buttons = 1\nturns = "round"\n' + GROUPS))
    assert turns(built, 1) == [(1,), (1,), (2,), (2,), (3,), (3,)]


def test_turns_go_on_over_blocks():
    built = compiled(two("rounds = 1", top=GROUPS).replace("rounds = 2\n", ""))
    assert turns(built, 1) == [(1,), (2,)]


def test_everybody_gets_every_exercise_equally_often():
    built = compiled(lanes("rounds = 6", top='buttons = 1\nturns = "window"\n' + GROUPS))
    asked = [(s.name, s.bib[0]) for s in spans(built) if s.kind == t.WINDOW]
    assert {pair: asked.count(pair) for pair in asked} == {
        (name, bib): 2 for name in "AB" for bib in (1, 2, 3)
    }


def test_enough_buttons_each_bib_its_own():
    built = compiled(lanes(top="buttons = 4\n" + GROUPS))
    assert [s.bib for s in spans(built) if s.kind == t.WINDOW] == [[1, 2, 3, 0]] * 2
    assert [box.bibs for box in built.timelines] == [[1, 2, 3], [4]]


def test_ratings_come_last_one_for_each_set():
    built = compiled(lanes(top="buttons = 2\n" + GROUPS))
    ratings = [s for s in spans(built) if s.kind == t.RATING]
    assert [s.bib for s in ratings] == [[1, 2, 0, 0], [3, 0, 0, 0]]
    for s in ratings:
        assert (s.start_ms, s.duration_ms, s.who) == (built.totals.slot_ms, 30_000, "Red")
    assert [s.kind for s in spans(built)][-2:] == [t.RATING] * 2


def test_some_of_those_together_who_end_earlier_rate_under_their_names():
    """Only A goes on; B and C have their last window where all three were."""
    text = """
title = "T"
layout = "rotation"
[[group]]
name = "A"
bibs = [1]
[[group]]
name = "B"
bibs = [2]
circuit = "first"
[[group]]
name = "C"
bibs = [3]
circuit = "first"
[[station]]
capacity = 3
[[station]]
[[block]]
order = [[1, 2], [1, 0], [1, 0]]
[[block.exercise]]
name = "Squat"
work_s = 30
circuit = "first"
[[block.exercise]]
name = "Row"
work_s = 30
circuit = "second"
"""
    built = compiled(text)
    rated = [[(s.who, s.bib[0]) for s in spans(built, n) if s.kind == t.RATING] for n in (1, 2)]
    assert rated == [[("B + C", 2), ("B + C", 3)], [("A", 1)]]


def test_no_ratings_when_not_wished_or_nobody_is_known():
    for text in (lanes(top="rate = false\n" + GROUPS), lanes(top="boxes = 2")):
        assert all(s.kind != t.RATING for s in spans(compiled(text)))


def test_without_groups_a_box_has_one_bib():
    built = compiled(lanes(top="boxes = 3\nbuttons = 2"))
    assert [turns(built, box) for box in (1, 2, 3)] == [[(1,)] * 2, [(2,)] * 2, [(3,)] * 2]
    assert [box.bibs for box in built.timelines] == [[1], [2], [3]]


def test_stations_name_boxes():
    built = compiled(lanes(top='[[station]]\nlabel = "Łódź"\n[[station]]'))
    assert [box.label for box in built.timelines] == ["Lódz", "Station 2"]


def test_a_tally_is_taken_by_who_was_there():
    text = lanes(
        "rounds = 2\nrest_s = 15", 'tap = "tally"', 'buttons = 2\nturns = "window"\n' + GROUPS
    )
    found = spans(compiled(text.replace("rest_s = 15", "rest_s = 15\nrest_after_last = true")))
    for before, s in itertools.pairwise(found):
        takes = bool(s.flags & t.TAKES_TALLY)
        assert takes == (before.kind == t.WINDOW and before.name == "B")
        if takes:
            assert (s.kind, s.bib, s.who, s.window) == (
                t.REST,
                before.bib,
                before.who,
                before.window,
            )
        elif s.kind not in (t.WINDOW, t.RATING):
            assert s.bib == [0] * 4


ROTATION = """
title = "T"
layout = "rotation"
lead_in_s = 0
{top}
[[group]]
name = "Red"
bibs = [1, 2]
[[group]]
name = "Sea"
bibs = [3]
[[group]]
name = "Sky"
bibs = [4]
[[block]]
{block}
[[block.exercise]]
name = "A"
work_s = 30
{first}
[[block.exercise]]
name = "B"
work_s = 30
[[block.exercise]]
name = "C"
work_s = 30
"""


def rotation(top="", block="", first=""):
    return ROTATION.format(top=top, block=block, first=first)


def who_at(built, box):
    return [(s.name, s.round, s.who) for s in spans(built, box) if s.kind == t.WINDOW]


def test_rotation_moves_after_each_window():
    built = compiled(rotation(block="rounds = 2"))
    assert line(built) == " change 15 ".join(["window 30"] * 6)
    order = ["Red", "Sky", "Sea"]
    assert who_at(built, 1) == [("A", r, who) for r in (1, 2) for who in order]
    order = ["Sea", "Red", "Sky"]
    assert who_at(built, 2) == [("B", r, who) for r in (1, 2) for who in order]
    assert all(s.item == 2 for s in spans(built, 2) if s.kind == t.WINDOW)


def test_rotation_moves_after_each_turn():
    built = compiled(
        rotation('move = "round"', "rounds = 2\nrest_s = 5\nround_rest_s = 20\nchange_s = 10")
    )
    stay, move = "window 30 rest 5 window 30", " rest 20 change 10 "
    assert line(built) == move.join([stay] * 3)
    assert who_at(built, 3) == [("C", r, who) for who in ("Sky", "Sea", "Red") for r in (1, 2)]


def test_rotation_says_who_comes():
    found = spans(
        compiled(rotation(block="rest_s = 5", top="[[cool_down]]\nname='W'\nwork_s=60")), 1
    )
    assert [(t.KINDS[s.kind], s.who) for s in found] == [
        ("window", "Red"),
        ("rest", "Red"),
        ("change", "Sky"),
        ("window", "Sky"),
        ("rest", "Sky"),
        ("change", "Sea"),
        ("window", "Sea"),
        ("cool-down", "Sea"),
        ("rating", "Sea"),
    ]


def test_rotation_turns_reach_every_station():
    for move in ("window", "round"):
        built = compiled(rotation(f'move = "{move}"\nturns = "window"', "rounds = 2"))
        asked = {
            (s.name, bib)
            for box in (1, 2, 3)
            for s in spans(built, box)
            if s.kind == t.WINDOW
            for bib in s.bib
            if bib
        }
        assert asked == {(name, bib) for name in "ABC" for bib in (1, 2, 3, 4)}


def test_rotation_rates_everybody_once():
    built = compiled(rotation())
    rated = [
        bib for box in (1, 2, 3) for s in spans(built, box) if s.kind == t.RATING for bib in s.bib
    ]
    assert sorted(bib for bib in rated if bib) == [1, 2, 3, 4]


def test_rotation_tally_before_a_break_stays_with_who_did_it():
    text = rotation(block="rest_s = 15\nrest_after_last = true", first='tap = "tally"')
    found = [s for s in spans(compiled(text), 1) if s.flags & t.TAKES_TALLY]
    assert [(s.kind, s.who, s.bib[0]) for s in found] == [
        (t.REST, "Red", 1),
        (t.REST, "Sky", 4),
        (t.REST, "Sea", 3),
    ]
    assert not [s for s in spans(compiled(text), 2) if s.flags & t.TAKES_TALLY]


def test_a_class_of_many_days_is_refused():
    text = lanes("rounds = 100").replace("work_s = 30", "work_s = 3600")
    with pytest.raises(PlanError) as caught:
        compiled(text)
    assert caught.value.faults == ["the class takes 100.6 hours; take rounds out, to 96"]


def test_timetable_says_who_does_what_where():
    built = compiled(rotation(top="buttons = 2", block='name = "Loop"'))
    first = built.timetable[0]
    assert (first.class_ms, first.duration_ms, first.kind, first.what) == (
        0,
        30_000,
        "window",
        "Loop",
    )
    assert [(c.station, c.what, c.who, c.bibs) for c in first.stations] == [
        (1, "A", "Red", (1, 2)),
        (2, "B", "Sea", (3,)),
        (3, "C", "Sky", (4,)),
    ]
    assert built.timetable[1].stations == ()
    assert built.timetable[2].stations[0].who == "Sky"
