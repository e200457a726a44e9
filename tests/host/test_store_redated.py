"""What hangs on when a class began: a date that is put right, or what hung on the wrong one."""

import classes
import pytest
from sqlalchemy import select

from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.classes.byhand import _odd_boxes
from handbell.store.classes.filing import set_date
from handbell.store.classes.played import played
from handbell.store.classes.together import MINUTE_US, Log
from handbell.store.database import tables

MINUTE_MS = 60_000
WEEK_MS = 7 * 24 * 60 * MINUTE_MS
YEAR_MS = 365 * 24 * 60 * MINUTE_MS
START_MS = classes.START_UTC_MS
HALF_HOUR = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def take(store, box, start_ms, collected_ms, boot, plan=b"a", damaged=False):
    data = classes.timeline(HALF_HOUR, (box,), box, rounds=3, plan=plan, rate=False)
    store.put_timeline(data)
    store.put_plan(plan, "Evening")
    presses = [classes.Press(15_000 + boot * 900 + n * 7_000) for n in range(4)]
    run = classes.play(data, presses, start_ms, boot=boot)
    first = run.journal[0] ^ (8 if damaged else 0)
    journal = bytes([first]) + run.journal[1:]
    return store.ingest(journal, classes.BOX_IDS[box - 1], collected_ms * 1000).run_id


def met(store, box, boot, at_ms, what="collect"):
    store.add_contact((classes.BOX_IDS[box - 1], boot, 60_000_000, at_ms * 1000, 500, 0, what))


def filed(store):
    """Return which runs are together."""
    with store.reading() as conn:
        return _filed(conn)


def _filed(conn):
    found = {}
    for run, class_id in conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)):
        found.setdefault(class_id, set()).add(run)
    return sorted(map(sorted, found.values()))


def anew(store):
    """Return which runs are together by filing all of them anew."""

    def work(conn):
        joining.file_all(conn)
        return _filed(conn)

    return store.doing(work)


@pytest.mark.parametrize("plan", [b"a", b"b"], ids=["the same plan", "another plan"])
def test_what_the_right_date_of_a_class_tells_of_others_is_filed_at_once(store, plan):
    """Only with its right date does class 1 tell that box 3's log was before all later ones."""
    for box in (1, 2, 3, 4):
        take(store, box, START_MS + YEAR_MS, START_MS + YEAR_MS + 40 * MINUTE_MS, 5)
        met(store, box, 6, START_MS + YEAR_MS + 40 * MINUTE_MS)
        met(store, box, 7, START_MS + WEEK_MS - MINUTE_MS, "arm")
    later_ms = START_MS + WEEK_MS + 41 * MINUTE_MS
    some = [take(store, box, None, later_ms + box * 20_000, 7, plan) for box in (1, 2, 4)]
    odd = take(store, 3, None, later_ms + 60_000, 4, plan)
    moved: list[str] = []
    set_date(store, 1, START_MS * 1000, moved)
    assert sorted(some) in filed(store) and [odd] in filed(store)
    assert any("0003" in one for one in moved)
    assert filed(store) == anew(store)


def log(run, box, collected_us, start_us=None, **more):
    return Log(
        run, f"{run:04}", str(box), box, start_us, 30 * MINUTE_US, collected_us, boot=5, **more
    )


def test_a_dated_log_makes_no_other_box_odd_but_those_that_may_be_of_its_class():
    """Box 1 has a log in the dated class, so it is of that already, as all the others may be."""
    part = [log(box, box, (100 + box) * MINUTE_US) for box in (1, 2, 3)]
    dated = [log(9, 1, 101 * MINUTE_US, 50 * MINUTE_US)]
    assert not _odd_boxes(part, [part], [dated])
    elsewhere = [log(9, 4, 101 * MINUTE_US, 50 * MINUTE_US)]
    part[0] = log(1, 1, 101 * MINUTE_US, since_us=95 * MINUTE_US)
    assert _odd_boxes(part, [part], [elsewhere]) == {"2", "3"}


def test_one_dated_log_of_a_box_leaves_an_evening_by_hand_whole(store):
    """Three classes; box 4 missed the first and one log of it was dated."""
    at_ms = START_MS + 160 * MINUTE_MS
    whole = {}
    for box in (1, 2, 3, 4):
        met(store, box, 4, START_MS - WEEK_MS + box * 20_000)
        for n in range(3):
            if (box, n) != (4, 0):
                run = _nth(store, box, n, at_ms + box * 20_000)
                whole.setdefault(n, []).append(run)
    alone = [run for run in filed(store) if len(run) == 1]
    assert len(alone) == 2, "those of box 4: of which class each is, nothing tells"
    with store.reading() as conn:
        of = conn.scalar(select(tables.runs.c.class_id).where(tables.runs.c.id == alone[-1][0]))
    set_date(store, of, (START_MS + 100 * MINUTE_MS) * 1000)
    now = filed(store)
    for n in range(3):
        assert any({run for run in whole[n] if [run] not in alone} <= set(some) for some in now)


def _nth(store, box, n, collected_ms):
    """Take in one of a start's logs, with presses of its own."""
    data = classes.timeline(HALF_HOUR, (box,), box, rounds=3, plan=b"a", rate=False)
    store.put_timeline(data)
    store.put_plan(b"a", "Evening")
    run = classes.play(data, [classes.Press(20_000 + n * 9_000)], None, boot=5)
    return store.ingest(run.journal, classes.BOX_IDS[box - 1], collected_ms * 1000).run_id


def when_played(store, run):
    r = tables.runs.c
    wanted = (r.id, r.box_id, r.collected_utc_us, r.start_utc_us, r.met_seq)
    with store.reading() as conn:
        return played(conn, conn.execute(select(*wanted).where(r.id == run)).all())[run]


def test_a_contact_after_a_log_came_says_nothing_whatever_the_clock_was_then(store):
    """The computer was a year ahead as box 1 was collected, and right again a week later."""
    met(store, 1, 4, START_MS - WEEK_MS)
    met(store, 1, 6, START_MS + YEAR_MS)
    run = take(store, 1, None, START_MS + YEAR_MS + 1_000, 5)

    before = when_played(store, run)
    assert before.since_us == (START_MS - WEEK_MS) * 1000
    met(store, 1, 8, START_MS + WEEK_MS, "arm")
    met(store, 1, 9, START_MS + 2 * WEEK_MS)
    assert when_played(store, run) == before


@pytest.mark.parametrize("damaged", [False, True])
def test_a_log_that_came_before_any_contact_says_nothing_by_one_after_it(store, damaged):
    """Its box was collected, though its clock was not measured, by a computer a year ahead."""
    run = take(store, 1, None, START_MS + YEAR_MS, 5, damaged=damaged)
    before = when_played(store, run)
    met(store, 1, 8, START_MS + WEEK_MS, "arm")
    met(store, 1, 9, START_MS + 2 * WEEK_MS)
    assert when_played(store, run) == before
