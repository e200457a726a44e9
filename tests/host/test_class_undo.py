"""What was said of classes is taken back exactly, or it is said why it can't be."""

import random

import classes
import pytest
from sqlalchemy import func, select

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes import filing
from handbell.store.database import tables
from handbell.store.people.forget import forget
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_efforts, amend_name
from handbell.store.results.places import places_of
from handbell.store.results.queries import list_classes, load_class
from handbell.store.results.sayings import sayings, undo

pytest_plugins = ["store_fixtures"]

START_MS = classes.START_UTC_MS
BLOCKS = ((classes.Piece("Ring rows", 60),),)
MINUTE_MS = 60_000


def take(store, box, start_ms=START_MS, station=None, late_ms=0, **how):
    data = classes.timeline(BLOCKS, (station or box,), station or box, rounds=2)
    store.put_timeline(data)
    presses = [classes.Press(at_ms) for at_ms in range(11_000 + 130 * box, 100_000, 4_000)]
    run = classes.play(data, presses, start_ms, **how)
    return store.ingest(run.journal, classes.BOX_IDS[box - 1], (START_MS + late_ms) * 1000 + 10**10)


def all_of(store):
    """Every row of the store but those of the sayings themselves."""
    with store.reading() as conn:
        return {
            name: sorted(map(repr, conn.execute(select(table)).all()))
            for name, table in tables.metadata.tables.items()
            if name != "sayings"
        }


def two_classes(store):
    for box, minutes in ((1, 0), (2, 0), (3, 20), (4, 20)):
        take(store, box, START_MS + minutes * MINUTE_MS)
    set_wearers(store, 1, {1: "Uma", 2: "Vic"})
    set_wearers(store, 2, {3: "Zed"}, [4])
    record = load_class(store, 1)
    amend_efforts(store, record, places_of(record, 1)[:1], change("reps", "7", "Uma said so"))
    amend_name(store, load_class(store, 2), 4, change("name", "Ada", ""))


def change(what, value, why):
    return Change(what, value, "Sam", why, 1)


def test_each_is_taken_back_to_the_last_row_and_twice_does_no_harm(store):
    two_classes(store)
    before = all_of(store)
    for say in (
        lambda: filing.set_apart(store, 1, ["2"]),
        lambda: filing.set_date(store, 2, (START_MS - 86_400_000) * 1000),
        lambda: filing.delete_class(store, 1),
        lambda: filing.delete_class(store, 2),
    ):
        say()
        now = all_of(store)
        assert now != before
        done = undo(store)
        assert all_of(store) == before and not done.already and done.said == []
        assert undo(store, done.saying.number).already
        assert all_of(store) == before
    assert [one.undone for one in sayings(store)] == [True] * 4
    with pytest.raises(UsageError, match="Nothing that was said of classes"):
        undo(store)
    with pytest.raises(UsageError, match="no saying 99"):
        undo(store, 99)


def test_a_joining_is_parted_again_with_each_half_s_names_and_number(store):
    for box in (1, 2):
        take(store, box)
    take(store, 3, START_MS + 90_000)
    other = filing.set_apart(store, 1, ["3"])
    set_wearers(store, 1, {1: "Uma"})
    set_wearers(store, other, {3: "Zed"})
    before = all_of(store)
    assert filing.join_classes(store, other, 1) == 1
    undo(store)
    assert all_of(store) == before


def act(store, rng, minute):
    """Say one thing, drawn, of the classes that there are; it may be refused."""
    numbers = [row.id for row in list_classes(store)]
    one, other = rng.choice(numbers), rng.choice(numbers)
    what = rng.choice(("join", "apart", "date", "delete"))
    try:
        if what == "join":
            filing.join_classes(store, one, other)
        elif what == "apart":
            runs = load_class(store, one).runs
            filing.set_apart(store, one, [rng.choice(runs).digest[:12]])
        elif what == "date":
            filing.set_date(store, one, (START_MS + minute * MINUTE_MS) * 1000)
        elif len(numbers) > 1:
            filing.delete_class(store, one)
    except UsageError:
        return


@pytest.mark.parametrize("seed", range(2))
def test_any_row_of_sayings_is_taken_back_one_by_one(tmp_path, seed):
    rng = random.Random(seed)
    with open_store(str(tmp_path / "store.sqlite")) as store:
        two_classes(store)
        take(store, 5, None)
        take(store, 1, START_MS + 45 * MINUTE_MS, boot=2)
        states = [all_of(store)]
        for n in range(12):
            before = len(sayings(store))
            act(store, rng, rng.randrange(-90, 0) - 100 * n)
            if len(sayings(store)) > before:
                states.append(all_of(store))
        assert len(states) > 5
        while len(states) > 1:
            states.pop()
            undo(store)
            assert all_of(store) == states[-1]


def test_a_deleted_class_comes_back_under_a_number_of_its_own(store):
    two_classes(store)
    filing.delete_class(store, 2)
    new = take(store, 9, START_MS + 50 * 3_600_000).class_id
    (number,) = undo(store).classes
    assert number == (3 if new == 2 else 2), "a file gives a number that is free anew"
    record = load_class(store, number)
    assert {bib: one.name for bib, one in record.wearers.items()} == {3: "Zed", 4: "Ada"}
    assert record.row.boxes == 2 and load_class(store, new).row.boxes == 1


def test_what_was_said_later_of_the_same_logs_goes_first(store):
    two_classes(store)
    filing.set_apart(store, 1, ["2"])
    filing.set_date(store, 1, (START_MS - 86_400_000) * 1000)
    with pytest.raises(UsageError, match="as number 2, is of the same logs as number 1"):
        undo(store, 1)
    undo(store, 2)
    undo(store, 1)
    assert len(list_classes(store)) == 2


def test_what_can_not_be_exact_any_more_says_why_and_changes_nothing(store):
    two_classes(store)
    other = filing.set_apart(store, 1, ["2"])
    set_wearers(store, other, {2: "Ivy"})
    now = all_of(store)
    with pytest.raises(UsageError, match="exactly any more: something else was said of bib 2 of"):
        undo(store)
    assert all_of(store) == now
    filing.delete_class(store, 2)
    take(store, 3, START_MS + 20 * MINUTE_MS)
    came = take(store, 4, START_MS + 20 * MINUTE_MS).class_id
    set_wearers(store, came, {4: "Yan"})
    now = all_of(store)
    with pytest.raises(UsageError, match="Logs of class 2 came in again since, and something was"):
        undo(store)
    assert all_of(store) == now


def test_a_name_that_was_forgotten_does_not_come_back(store):
    two_classes(store)
    filing.delete_class(store, 1)
    filing.set_apart(store, 2, ["4"])
    for name in ("uma", "Zed", "Ada"):
        forget(store, name)
    with store.reading() as conn:
        kept = b"".join(conn.scalars(select(tables.sayings.c.kept)))
    undo(store)
    undo(store)
    told = repr(all_of(store))
    assert not any(name in told for name in ("Uma", "Zed", "Ada")) and "Vic" in told
    assert kept and load_class(store, 1).row.boxes == 2


def test_what_only_looks_or_is_refused_is_no_saying(store):
    two_classes(store)
    with pytest.raises(UsageError):
        filing.join_classes(store, 1, 1)
    with store.reading() as conn:
        assert conn.scalar(select(func.count()).select_from(tables.sayings)) == 0


def test_the_command_lists_them_and_takes_the_last_back(tmp_path, capsys, monkeypatch):
    with open_store(str(tmp_path / "data" / "store.sqlite")) as store:
        two_classes(store)
    assert main(["class", "2", "--delete", "--yes"]) == 0
    assert "To bring it back: handbell class --undo" in capsys.readouterr().out
    assert main(["class", "--said"]) == 0
    assert "class 2 is deleted" in capsys.readouterr().out
    assert main(["class", "--undo"]) == 0
    assert "That class 2 is deleted is taken back; its logs are in class 2 again." in (
        capsys.readouterr().out
    )
    assert main(["class", "--undo", "1"]) == 0
    assert "was taken back before; nothing changed." in capsys.readouterr().out
    assert main(["class", "--said"]) == 0
    assert "is deleted, taken back" in capsys.readouterr().out
    for words in (["class"], ["class", "--delete"], ["class", "2", "--undo"]):
        assert main(words) == 2
        assert "handbell class --help" in capsys.readouterr().err


def test_of_a_deleted_class_what_came_in_again_takes_up_what_was_said_of_it(store):
    two_classes(store)
    before = list_classes(store)
    for again in ((1,), (1, 2)):
        filing.delete_class(store, 1)
        for box in again:
            take(store, box)
        assert not undo(store).already
        assert [(row.id, row.boxes) for row in list_classes(store)] == [
            (row.id, row.boxes) for row in before
        ]
        record = load_class(store, 1)
        assert {bib: one.name for bib, one in record.wearers.items()} == {1: "Uma", 2: "Vic"}
        assert [one.value for one in record.amendments if one.what == "reps"] == ["7"]


def test_a_deletion_is_taken_back_though_the_rules_moved_another_log_since(store):
    for box in (2, 3):
        take(store, box)
    for box in (2, 3):
        take(store, box, START_MS + 40 * MINUTE_MS, late_ms=1_000)
    take(store, 4, None, late_ms=20_000)
    filing.delete_class(store, 2)
    take(store, 1, START_MS + 40 * MINUTE_MS, late_ms=86_400_000)
    undo(store)
    there = [{run.box_id for run in load_class(store, row.id).runs} for row in list_classes(store)]
    assert {classes.BOX_IDS[box] for box in (0, 1, 2)} in there
