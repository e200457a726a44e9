"""Names, absence and amendments between two stores: what differs is told, and nothing is lost."""

import classes
import pytest
from sqlalchemy import select, update
from store_places import import_bundle
from test_bundle_classes import START_MS, boxes_of, take

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.classes import filing
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.people.forget import forget
from handbell.store.people.people import People
from handbell.store.people.roster import Athlete, merge, wear_as_usual
from handbell.store.people.wearers import set_wearers
from handbell.store.people.worn import bibs_lost
from handbell.store.results.amend import Change, amend_efforts, amend_name, undo
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class

pytest_plugins = ["store_fixtures"]


@pytest.fixture(name="theirs")
def _theirs(tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        yield theirs


def change(what, value, at=5):
    return Change(what, value, "Coach", "why", at)


def amend(store, class_id, bib, what, value, at=5, **where):
    record = load_class(store, class_id)
    if what == "name":
        amend_name(store, record, bib, change(what, value, at))
    else:
        places = places_of(record, bib, Among(**where), as_planned=what == "bib")
        places = places if what == "bib" else one_window(record, places)
        amend_efforts(store, record, places, change(what, value, at))


def undo_all(store, class_id):
    for one in load_class(store, class_id).amendments:
        undo(store, load_class(store, class_id), one.digest, "Coach", 99)


def wearers(store):
    with store.reading() as conn:
        rows = conn.execute(select(tables.wearers).order_by(*tables.wearers.primary_key)).mappings()
        people = People(conn)
        names = ("person", "said")
        return [
            tuple((row | {n: people.label(row[n]) for n in names}).values())
            for row in map(dict, rows)
        ]


def hand(theirs, store, path):
    export_bundle(theirs, path, Wanted())
    return import_bundle(store, path)


def test_a_name_goes_with_the_log_whose_bib_was_given_another_number(store):
    take(store, 1, 1)
    take(store, 2, 2)
    amend(store, 1, 2, "bib", "9")
    set_wearers(store, 1, {1: "Uma", 9: "Zed"})
    other = filing.set_apart(store, 1, ["2"])
    assert boxes_of(store) == {(1,): {1: "Uma"}, (2,): {9: "Zed"}}
    filing.join_classes(store, other, 1)
    assert boxes_of(store) == {(1, 2): {1: "Uma", 9: "Zed"}}


def test_after_two_changed_bibs_each_half_of_the_class_has_the_name_of_who_was_there(store):
    take(store, 1, 1)
    take(store, 2, 2)
    set_wearers(store, 1, {1: "Uma", 2: "Vic"})
    amend(store, 1, 1, "bib", "2")
    amend(store, 1, 2, "bib", "1", 6)
    filing.set_apart(store, 1, ["2"])
    names = boxes_of(store)
    assert names[1,][2] == "Vic" and names[2,][1] == "Uma"


def test_a_name_in_a_bundle_goes_to_the_log_that_was_given_its_bib(store, theirs, tmp_path):
    for one in (store, theirs):
        for box in (1, 2):
            take(one, box, box)
    amend(theirs, 1, 2, "bib", "9")
    set_wearers(theirs, 1, {9: "Zed"})
    filing.set_apart(theirs, 1, ["1"])
    hand(theirs, store, tmp_path / "b.zip")
    assert boxes_of(store) == {(1, 2): {9: "Zed"}}
    filing.set_apart(store, 1, ["1"])
    assert boxes_of(store) == {(1,): {}, (2,): {9: "Zed"}}


def test_absence_that_differs_is_told_and_changes_nothing(store, theirs, tmp_path):
    for one in (store, theirs):
        for box in (1, 2, 3):
            take(one, box, box)
    set_wearers(store, 1, {1: "Uma", 2: "Vic", 3: "Zed"})
    set_wearers(theirs, 1, {1: "Uma"}, [1, 2])
    done = hand(theirs, store, tmp_path / "b.zip")
    assert done.kept == [
        "Bib 1 of class 1 is Uma here and stays so; the bundle says Uma (absent)",
        "Bib 2 of class 1 is Vic here and stays so; the bundle says nobody (absent)",
    ]
    assert boxes_of(store) == {(1, 2, 3): {1: "Uma", 2: "Vic", 3: "Zed"}}
    assert not any(one.absent for one in load_class(store, 1).wearers.values())


def test_a_name_that_two_bibs_have_after_an_import_is_told_once(store, theirs, tmp_path):
    for one in (store, theirs):
        for box in (1, 2):
            take(one, box, box)
    set_wearers(store, 1, {1: "Uma"})
    set_wearers(theirs, 1, {2: "Uma"})
    for one in (store, theirs):
        with one.engine.begin() as conn:
            conn.execute(update(tables.persons).values(hall="00000000000000a1"))
    (said,) = hand(theirs, store, tmp_path / "b.zip").kept
    assert said.startswith(
        '"Uma" is bib 1 and bib 2 of class 1 now. Two people? handbell bibs 1 1='
    )
    assert boxes_of(store) == {(1, 2): {1: "Uma", 2: "Uma"}}
    assert import_bundle(store, tmp_path / "b.zip").kept == []


STAYS = (
    "Bib 1 of class 1 is Otto here, as amended, and was Ann before, and stays so; the bundle says"
)


@pytest.mark.parametrize(("said", "said_again"), [({1: "Mina"}, f"{STAYS} Mina"), ({}, None)])
def test_an_amended_name_that_takes_the_place_of_one_that_was_said_here_is_told(
    store, theirs, place, tmp_path, capsys, said, said_again
):
    for one in (store, theirs):
        for box in (1, 2):
            take(one, box, box)
    set_wearers(store, 1, {1: "Ann"})
    set_wearers(theirs, 1, said)
    amend(theirs, 1, 1, "name", "Otto")
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    assert main(["import", str(tmp_path / "b.zip"), "--store", place]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "Bib 1 of class 1 was Ann here and is Otto now, as an amendment in the bundle" in told
    assert "stays so" not in told
    (again,) = import_bundle(store, tmp_path / "b.zip").kept or [None]
    assert again == said_again
    back = told.split("handbell amend 1 --undo ")[1].split()[0]
    assert main(["amend", "1", "--undo", back, "--store", place]) == 0
    assert boxes_of(store) == {(1, 2): {1: "Ann"}}


def test_an_amended_name_with_nothing_before_it_leaves_nothing_when_it_is_undone(
    store, theirs, tmp_path
):
    for box in (1, 2):
        take(theirs, box, box)
    amend(theirs, 1, 1, "name", "Otto")
    hand(theirs, store, tmp_path / "b.zip")
    assert wearers(store) == wearers(theirs)
    for one in (store, theirs):
        undo_all(one, 1)
        assert wearers(one) == []


@pytest.mark.parametrize("absent", [[], [1]])
def test_an_amended_name_with_nothing_before_it_is_of_the_same_logs_in_the_other_store(
    store, theirs, tmp_path, absent
):
    take(theirs, 1, 1)
    set_wearers(theirs, 1, {}, absent)
    amend(theirs, 1, 1, "name", "Otto")
    take(theirs, 12, 2, bib=1)  # a box of another hall, whose bib 1 is somebody else
    hand(theirs, store, tmp_path / "b.zip")
    assert wearers(store) == wearers(theirs)
    assert hand(theirs, store, tmp_path / "b.zip").names_new == 0
    assert wearers(store) == wearers(theirs)
    filing.set_apart(store, 1, ["2"])
    assert boxes_of(store) == {(1,): {1: "Otto"}, (12,): {}}
    undo_all(store, 1)
    assert boxes_of(store) == {(1,): {1: None} if absent else {}, (12,): {}}


def test_the_list_of_an_amended_name_grows_by_the_logs_it_was_said_of_there(
    store, theirs, tmp_path
):
    take(store, 1, 1)
    take(theirs, 1, 1)
    take(theirs, 2, 2, bib=1)
    for one in (store, theirs):
        amend(one, 1, 1, "name", "Otto")
    hand(theirs, store, tmp_path / "b.zip")
    assert wearers(store) == wearers(theirs)


@pytest.mark.parametrize("amended", [False, True])
def test_the_bib_of_a_forgotten_person_stays_nobody_s_in_the_other_store(
    store, theirs, tmp_path, amended
):
    take(theirs, 1, 1)
    set_wearers(theirs, 1, {1: "Ann"})
    if amended:
        amend(theirs, 1, 1, "name", "Otto")
        forget(theirs, "Otto")
    forget(theirs, "Ann")
    for one in (theirs, store):
        if one is store:
            hand(theirs, store, tmp_path / "b.zip")
        assert boxes_of(one) == {(1,): {1: None}}
        merge(one, [Athlete("Zoe", 1)])
        wear_as_usual(one, 1)
        assert boxes_of(one) == {(1,): {1: None}}, "what was counted is nobody's, not Zoe's"
        export_bundle(one, tmp_path / f"{one is store}.zip", Wanted())
    first, second = ((tmp_path / f"{which}.zip").read_bytes() for which in (False, True))
    assert first == second


def test_that_a_name_before_an_amended_one_was_forgotten_there_is_known_here(
    store, theirs, tmp_path
):
    for one in (store, theirs):
        take(one, 1, 1)
    set_wearers(theirs, 1, {1: "Ann"})
    for one in (store, theirs):
        amend(one, 1, 1, "name", "Otto")
    forget(theirs, "Ann")
    hand(theirs, store, tmp_path / "b.zip")
    undo_all(store, 1)
    assert boxes_of(store) == {(1,): {1: None}}, "a bib of which somebody spoke"


@pytest.mark.parametrize(("mine_at", "holds"), [(3, "5"), (9, "9")])
def test_what_both_coaches_amended_is_told_whichever_holds(store, theirs, tmp_path, mine_at, holds):
    for one, value, at in ((store, "9", mine_at), (theirs, "5", 5)):
        take(one, 1, 1)
        amend(one, 1, 1, "reps", value, at, window=1)
    done = hand(theirs, store, tmp_path / "b.zip")
    (said,) = done.kept
    assert f"reps amended to 9 here and to 5 in the bundle. {holds} holds" in said
    assert load_class(store, 1).results[0].reps == int(holds)
    assert hand(theirs, store, tmp_path / "b.zip").kept == []


def test_what_was_said_before_an_amended_name_comes_along_in_a_half_of_the_class(
    store, theirs, tmp_path
):
    half_an_hour = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)

    def both(one, box, start_ms):
        data = classes.timeline(half_an_hour, (1, 2), 1, rounds=3, rate=False)
        one.put_timeline(data)
        one.put_plan(classes.PLAN_TEXT, "Two blocks")
        journal = classes.play(data, [classes.Press(11_000 + box)], start_ms).journal
        return one.ingest(journal, classes.BOX_IDS[box - 1], (START_MS + 7_200_000) * 1000)

    both(theirs, 1, START_MS)
    both(theirs, 2, START_MS + 25 * 60_000)
    set_wearers(theirs, 2, {2: "Bo"})
    filing.join_classes(theirs, 2, 1)
    amend(theirs, 1, 2, "name", "Otto")
    other = filing.set_apart(theirs, 1, [classes.BOX_IDS[1][-4:]])
    hand(theirs, store, tmp_path / "b.zip")
    assert wearers(store) == wearers(theirs)
    for one in (theirs, store):
        joined = filing.join_classes(one, other, 1)
        undo_all(one, joined)
        assert boxes_of(one) == {(1, 2): {2: "Bo"}}


def test_a_log_that_lends_its_class_an_amended_bib_with_a_name_is_the_last_to_have_it(store):
    first = take(store, 1, 1)
    take(store, 2, 2)
    amend(store, 1, 2, "bib", "1")
    set_wearers(store, 1, {1: "Uma"})
    with store.reading() as conn:
        assert bibs_lost(conn, first.run_id) == [], "the other log has it now, too"


@pytest.mark.parametrize("undone", [False, True])
def test_a_name_that_changes_by_an_amendment_of_the_bundle_is_told(store, theirs, tmp_path, undone):
    for one in (store, theirs):
        take(one, 1, 1)
        set_wearers(one, 1, {1: "Ann"})
    amend(theirs, 1, 1, "name", "Otto")
    (said,) = hand(theirs, store, tmp_path / "b.zip").kept
    digest = load_class(theirs, 1).amendments[0].digest[:8]
    assert said == (
        "Bib 1 of class 1 was Ann here and is Otto now, as an amendment in the bundle says. To take "
        f"that back: handbell amend 1 --undo {digest}"
    )
    assert hand(theirs, store, tmp_path / "b.zip").kept == []
    if undone:
        undo_all(theirs, 1)
        (said,) = hand(theirs, store, tmp_path / "b.zip").kept
        assert said == (
            "Bib 1 of class 1 was Otto here and is Ann now, since the amendment was taken back there"
        )
        assert load_class(store, 1).wearers[1].name == "Ann"
