"""Bundles and classes that a coach parted or joined: what was said holds in the other store, too."""

import json
import zipfile

import classes
import pytest
from sqlalchemy import select
from store_places import import_bundle
from test_export_bundle import changed

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.classes import filing, joining
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.people.wearers import set_wearers
from handbell.store.results.queries import load_class

pytest_plugins = ["store_fixtures"]

START_MS = classes.START_UTC_MS
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)
LATER_MS = 60_000


def take(store, box, station, start_ms=START_MS, bib=0, collected_min=0.0, reps=4, **how):
    """Take in a box of a plan whose bibs are its stations unless said otherwise."""
    data = classes.timeline(BLOCKS, (bib or station,), station, rounds=3, rate=False)
    store.put_timeline(data)
    store.put_plan(classes.PLAN_TEXT, "Two blocks")
    presses = [classes.Press(15_000 + box * 900 + n * 7_000) for n in range(reps)]
    at_us = round((START_MS + 3_600_000 + collected_min * 60_000) * 1000)
    journal = classes.play(data, presses, start_ms, **how).journal
    return store.ingest(journal, classes.BOX_IDS[box - 1], at_us)


def see(store, *boxes):
    for box in boxes:
        store.seen_box(classes.BOX_IDS[box - 1], "", 1, 1)


def boxes_of(store):
    """The boxes of each class, and who wore which bib there."""
    with store.reading() as conn:
        found = {}
        for row in conn.execute(select(tables.runs).order_by(tables.runs.c.box_id)):
            found.setdefault(row.class_id, []).append(int(row.box_id[-2:], 16))
    names = {}
    for class_id, some in found.items():
        worn = load_class(store, class_id).wearers
        names[tuple(some)] = {bib: one.name for bib, one in worn.items()}
    return names


FIRST = [(1, 1, START_MS, 1), (2, 2, START_MS, 2)]
SECOND = [(13, 3, START_MS + LATER_MS, 1), (14, 4, START_MS + LATER_MS, 2)]
PARTED = {(1, 2): {1: "Uma", 2: "Vic"}, (13, 14): {1: "Zed", 2: "Ada"}}


def take_halls(store):
    """Two halls without a station in common: the rules take them for one class."""
    for box, station, start_ms, bib in (*FIRST, *SECOND):
        take(store, box, station, start_ms, bib)


def part(store):
    other = filing.set_apart(store, 1, ["3", "4"])
    set_wearers(store, 1, {1: "Uma", 2: "Vic"})
    set_wearers(store, other, {1: "Zed", 2: "Ada"})
    return other


@pytest.fixture(name="theirs")
def _theirs(tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        yield theirs


def test_a_half_that_was_deleted_comes_back_from_its_bundle_as_a_class(store, tmp_path):
    take_halls(store)
    other = part(store)
    export_bundle(store, tmp_path / "b.zip", Wanted(frozenset([other])))
    filing.delete_class(store, other)
    see(store, 1, 2, 13, 14)
    done = import_bundle(store, tmp_path / "b.zip")
    assert boxes_of(store) == PARTED
    assert done.apart == {}
    (said,) = done.kept
    (new,) = done.classes
    assert f"If it was one class: handbell class {new} --join 1" in said


@pytest.mark.parametrize("some", [None, [1], [2]])
def test_what_was_parted_stays_so_on_a_second_computer_that_knows_the_boxes(
    store, theirs, tmp_path, some
):
    take_halls(theirs)
    part(theirs)
    see(store, 1, 2, 13, 14)
    for n in some or (1, 2):
        export_bundle(theirs, tmp_path / f"{n}.zip", Wanted(frozenset([n]) if some else None))
        import_bundle(store, tmp_path / f"{n}.zip")
    found = boxes_of(store)
    assert found == {boxes: PARTED[boxes] for boxes in found}
    assert len(found) == (1 if some else 2)
    if some:
        import_bundle(store, tmp_path / f"{some[0]}.zip")
        export_bundle(theirs, tmp_path / "all.zip", Wanted())
        import_bundle(store, tmp_path / "all.zip")
    assert boxes_of(store) == PARTED
    export_bundle(store, tmp_path / "back.zip", Wanted())
    assert import_bundle(theirs, tmp_path / "back.zip").kept == []
    assert boxes_of(theirs) == PARTED


def test_a_half_in_a_bundle_does_not_melt_with_the_other_hall_that_is_here(store, theirs, tmp_path):
    take_halls(theirs)
    other = part(theirs)
    export_bundle(theirs, tmp_path / "b.zip", Wanted(frozenset([other])))
    for one in FIRST:
        take(store, *one)
    set_wearers(store, 1, {1: "Uma", 2: "Vic"})
    see(store, 13, 14)
    done = import_bundle(store, tmp_path / "b.zip")
    assert boxes_of(store) == PARTED
    assert [words for words in done.kept if "handbell class 2 --join 1" in words]
    take(store, 15, 5, START_MS + LATER_MS, 3)
    take(store, 5, 5, START_MS, 3)
    assert sorted(boxes_of(store)) == [(1, 2, 5), (13, 14, 15)]


@pytest.mark.parametrize("seen", [True, False])
def test_what_a_coach_joined_comes_as_one_class(store, theirs, tmp_path, seen):
    take(theirs, 1, 1)
    take(theirs, 2, 2, START_MS + 25 * 60_000)
    filing.join_classes(theirs, 2, 1)
    set_wearers(theirs, 1, {1: "Uma", 2: "Vic"})
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    see(store, *((1, 2) if seen else ()))
    import_bundle(store, tmp_path / "b.zip")
    assert boxes_of(store) == {(1, 2): {1: "Uma", 2: "Vic"}}
    assert import_bundle(store, tmp_path / "b.zip").kept == []
    first = (tmp_path / "b.zip").read_bytes()
    export_bundle(store, tmp_path / "b.zip", Wanted())
    assert (tmp_path / "b.zip").read_bytes() == first


def test_a_log_of_a_joined_class_comes_to_those_of_it_that_are_here(store, theirs, tmp_path):
    take(theirs, 1, 1)
    take(theirs, 2, 2, START_MS + 25 * 60_000)
    filing.join_classes(theirs, 2, 1)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    take(store, 1, 1)
    set_wearers(store, 1, {1: "Uma"})
    done = import_bundle(store, tmp_path / "b.zip")
    assert boxes_of(store) == {(1, 2): {1: "Uma"}} and done.kept == []


@pytest.mark.parametrize("seen", [True, False])
def test_what_was_parted_after_a_first_bundle_is_said_and_names_of_both_halls_wait(
    store, theirs, place, tmp_path, capsys, seen
):
    take_halls(theirs)
    see(store, *((1, 2, 13, 14) if seen else ()))
    path = tmp_path / "b.zip"
    export_bundle(theirs, path, Wanted())
    import_bundle(store, path)
    part(theirs)
    export_bundle(theirs, path, Wanted())
    assert main(["import", str(path), "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Of class 1 the bundle has box" in said
    assert "Bib 1 of class 1 is Uma and Zed in the bundle" in said
    assert boxes_of(store) == {(1, 2, 13, 14): {}}, "nobody gets another's results"
    apart = said.split("handbell class 1 --apart ")[1].split(", then")[0].split()
    assert main(["class", "1", "--apart", *apart, "--store", place]) == 0
    assert import_bundle(store, path).kept == []
    assert boxes_of(store) == PARTED


def test_what_was_joined_after_a_first_bundle_is_said(store, theirs, place, tmp_path, capsys):
    take(theirs, 1, 1)
    take(theirs, 2, 2, START_MS + 25 * 60_000)
    path = tmp_path / "b.zip"
    export_bundle(theirs, path, Wanted())
    import_bundle(store, path)
    filing.join_classes(theirs, 2, 1)
    export_bundle(theirs, path, Wanted())
    assert main(["import", str(path), "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "The bundle has classes 1 and 2 as one. To have it so here: handbell class 2" in said
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert import_bundle(store, path).kept == []


def test_a_log_of_a_half_goes_to_no_class_that_has_logs_of_the_other(store, theirs, tmp_path):
    take_halls(theirs)
    take_halls(store)
    part(theirs)
    take(theirs, 15, 5, START_MS + LATER_MS, 3)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    see(store, 15)
    done = import_bundle(store, tmp_path / "b.zip")
    assert sorted(boxes_of(store)) == [(1, 2, 13, 14), (15,)]
    assert any("Of class 1 the bundle has box" in words for words in done.kept)
    assert any("classes 1 and 2 as one" in words for words in done.kept)


def test_further_boxes_of_a_half_that_two_computers_collect_come_together_on_both(
    store, theirs, tmp_path
):
    take_halls(theirs)
    part(theirs)
    path = tmp_path / "b.zip"
    for one in (store, theirs):
        see(one, 1, 2, 13, 14, 15, 16)
    export_bundle(theirs, path, Wanted())
    import_bundle(store, path)
    take(store, 15, 5, START_MS + LATER_MS, 3)
    take(theirs, 16, 6, START_MS + LATER_MS, 4)
    for one, other in ((theirs, store), (store, theirs)):
        export_bundle(one, path, Wanted())
        assert import_bundle(other, path).kept == []
        assert sorted(boxes_of(other)) == [(1, 2), (13, 14, 15, 16)]


def test_import_says_the_doubts_that_collecting_would(store, theirs, place, tmp_path, capsys):
    take(store, 3, 3, stop_ms=90_000)
    take(theirs, 9, 3, START_MS + 120_000, collected_min=9)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    see(store, 9)
    assert main(["import", str(tmp_path / "b.zip"), "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Class 1 has logs of two boxes of station 3" in said
    assert main(["import", str(tmp_path / "b.zip"), "--store", place]) == 0
    assert "two boxes" not in capsys.readouterr().out, "nothing new came in"


def test_of_a_class_that_is_told_to_be_apart_nothing_is_doubted_twice(store, theirs, tmp_path):
    for one in FIRST:
        take(store, *one)
    for one in SECOND:
        take(theirs, *one)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    done = import_bundle(store, tmp_path / "b.zip")
    assert (done.apart, done.kept, done.doubts) == ({2: 1}, [], [])
    with store.reading() as conn:
        some = conn.scalars(select(tables.runs.c.id)).all()
    assert "in a bundle" in " ".join(joining.doubts(store, some))


def test_a_bundle_of_an_earlier_version_does_not_tell_what_a_coach_said(store, theirs, tmp_path):
    def older(told, _):
        for one in told["runs"]:
            del one["filed"]
        for one in told["wearers"]:
            del one["before"]

    take_halls(theirs)
    part(theirs)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    import_bundle(store, changed(tmp_path / "b.zip", tmp_path / "old.zip", older))
    assert boxes_of(store) == PARTED, "its boxes were never here, so each class is as it was there"


@pytest.mark.parametrize("knows", [FIRST, [*FIRST, SECOND[0]]])
def test_a_log_of_a_class_that_only_a_coach_here_parted_comes_to_its_half_by_the_rules(
    store, theirs, tmp_path, knows
):
    later = START_MS + LATER_MS
    for one in (*FIRST, SECOND[0]):
        take(store, *one)
    for one in knows:
        take(theirs, *one)
    for n in range(6):  # which log has the least digest is chance
        take(theirs, 14 + n, 4 + n, later, 2 + n, reps=3 + n)
        see(store, 14 + n)
    other = filing.set_apart(store, 1, ["3"])
    set_wearers(store, 1, {1: "Uma"})
    set_wearers(store, other, {1: "Zed"})
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    done = import_bundle(store, tmp_path / "b.zip")
    names = boxes_of(store)
    assert names == {(1, 2): {1: "Uma"}, (13, *range(14, 20)): {1: "Zed"}}
    assert done.kept == [], "no coach there said anything"


def joined(store):
    """A class to which a coach joined a box without a clock, since it may be of another too."""
    take(store, 1, 1)
    take(store, 1, 1, START_MS - 60 * 60_000, reps=5)
    lost = take(store, 2, 2, None)
    assert lost.class_id == 3 and filing.join_classes(store, 3, 1) == 1


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("box", [3, 9])
def test_a_log_whose_station_is_taken_in_the_class_here_is_a_class_of_its_own_and_that_is_said(
    store, theirs, place, tmp_path, capsys, box, named
):
    for one in (store, theirs):
        joined(one)
        see(one, 9)
    first = take(store, 3, 3, stop_ms=60_000)
    second = take(theirs, box, 3, START_MS + 90_000, reps=2, stop_ms=90_000)
    assert first.class_id == second.class_id == 1
    if named:
        set_wearers(store, 1, {3: "Amy"})
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    for _ in range(2):
        done = import_bundle(store, tmp_path / "b.zip")
        names = {some: worn.get(3) for some, worn in boxes_of(store).items()}
        assert names == {(1, 2, 3): "Amy" if named else None, (1,): None, (box,): None}
        (said,) = done.kept
        number = done.classes[-1]
        assert f"has classes 1 and {number} as one; here each has a log of station 3." in said
    for command in said.split("To have it so here: ")[1].split(", then "):
        assert main([*command.split("two still, ")[-1].split()[1:], "--store", place]) == 0
    names = {some: worn.get(3) for some, worn in boxes_of(store).items()}
    assert names == {(1, 2, box): None, (1,): None, (3,): "Amy" if named else None}


def test_two_logs_that_two_coaches_joined_to_one_class_are_not_both_put_in_it(
    store, theirs, tmp_path
):
    for n, one in enumerate((store, theirs)):
        take(one, 1, 1)
        take(one, 3, 3, START_MS + (25 - 50 * n) * 60_000, reps=3 + n)
        filing.join_classes(one, 2, 1)
        set_wearers(one, 1, {3: "Amy"})
    export_bundle(store, tmp_path / "b.zip", Wanted())
    done = import_bundle(theirs, tmp_path / "b.zip")
    assert list(boxes_of(theirs)) == [(1, 3), (3,)]
    assert any("handbell class 1 --apart" in words for words in done.kept)


def moved_by_import(store, path):
    """A class without a clock on box 3 beside one that was deleted and comes back in a bundle."""
    see(store, 1, 2, 3)
    for start_ms, later_min in ((START_MS, 0), (START_MS + 60 * 60_000, 60)):
        for box in (1, 2, 3):
            when = None if later_min and box == 3 else start_ms
            take(store, box, box, when, collected_min=later_min, reps=4 + later_min // 60)
    set_wearers(store, 2, {1: "Ben", 3: "Cy"})
    export_bundle(store, path, Wanted(frozenset([1])))
    filing.delete_class(store, 1)
    return boxes_of(store)


def test_moves_that_an_import_takes_back_are_not_told(store, tmp_path):
    before = moved_by_import(store, tmp_path / "b.zip")
    assert before == {(1, 2, 3): {1: "Ben", 3: "Cy"}}
    done = import_bundle(store, tmp_path / "b.zip")
    with store.reading() as conn:
        wanted = select(tables.runs.c.class_id).order_by(tables.runs.c.id)
        assert conn.scalars(wanted).all()[:3] == [2, 2, 2]
    assert load_class(store, 2).wearers[3].name == "Cy"
    assert (done.kept, done.doubts) == ([], [])


def test_a_log_that_goes_to_another_class_by_an_import_is_told_though_nobody_is_named(
    store, theirs, place, tmp_path
):
    for box, station, minute in ((2, 2, 0.1), (3, 3, 0.2), (11, 1, 5)):
        take(store, box, station, collected_min=minute, reps=40)
    for box, station, minute in ((1, 1, 0), (12, 2, 5.1), (13, 3, 5.2)):
        take(theirs, box, station, collected_min=minute, reps=40)
        see(store, box)
    assert sorted(boxes_of(store)) == [(2, 3, 11)]
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    done = import_bundle(store, tmp_path / "b.zip")
    assert sorted(boxes_of(store)) == [(1, 2, 3), (11, 12, 13)]
    (moved,) = done.kept
    assert "A log of box 000b (station 1) that was in class 1 is in class 2 now" in moved
    first, last = moved.split("If that is wrong: ")[1].split(", then ")
    assert main([*first.split()[1:], "--store", place]) == 0
    with store.reading() as conn:
        number = conn.scalar(select(tables.runs.c.class_id).order_by(tables.runs.c.class_id.desc()))
    assert last.startswith("if that did not bring it back, handbell class NUMBER --join 1")
    joins = last.split(", with")[0].split("back, ")[1].replace("NUMBER", str(number))
    assert main([*joins.split()[1:], "--store", place]) == 0


def test_a_log_pushed_out_of_its_class_is_brought_back_by_the_commands_that_are_told(
    store, theirs, place, tmp_path
):
    take(store, 1, 1)
    take(store, 3, 3, START_MS + 60_000, reps=6)
    set_wearers(store, 1, {3: "Amy"})
    take(theirs, 1, 1)
    take(theirs, 3, 3, reps=2)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    (said,) = import_bundle(store, tmp_path / "b.zip").kept
    assert "A log of box 0003 (station 3) that was in class 1 is in class 2 now" in said
    first, last = said.split("If that is wrong: ")[1].split(", then ")
    assert last == "if that did not bring it back, handbell class 2 --join 1"
    assert main([*first.split()[1:], "--store", place]) == 0
    assert boxes_of(store) == {(1, 3): {3: "Amy"}, (3,): {}}


def near_one(store, theirs, path):
    """Take in a class that began near ours, and that a coach there parted."""
    for box, station in ((21, 1), (24, 4)):
        take(theirs, box, station, START_MS + 5 * LATER_MS, collected_min=50)
        see(store, box)
    filing.set_apart(theirs, 1, ["4"])
    export_bundle(theirs, path, Wanted())
    return import_bundle(store, path)


def filed_in(path):
    """Which boxes of a bundle a coach filed, as its list says."""
    with zipfile.ZipFile(path) as file:
        runs = json.loads(file.read("bundle.json"))["runs"]
    return {int(one["box_id"][-2:], 16): one["filed"] for one in runs}


def test_a_log_without_a_clock_is_not_nailed_to_my_class_by_a_bundle_near_it(
    store, theirs, tmp_path
):
    take(store, 1, 1, collected_min=50)
    take(store, 2, 2, collected_min=50)
    lost = take(store, 3, 3, None, collected_min=51)
    assert lost.class_id == 1, "by the rules: there is no other class"
    done = near_one(store, theirs, tmp_path / "b.zip")
    assert sorted(boxes_of(store)) == [(1, 2), (3,), (21,), (24,)]
    (moved,) = [words for words in done.kept if "station 3" in words]
    assert "A log of box 0003 (station 3) that was in class 1 is in class" in moved
    with store.reading() as conn:
        some = conn.scalars(select(tables.runs.c.id)).all()
    (said,) = [words for words in joining.doubts(store, some) if "tells no time" in words]
    assert "it may be of class 1, class 2 or class 4" in said


def test_what_an_import_left_as_it_was_is_no_coach_s_word(store, theirs, tmp_path):
    take(store, 1, 1)
    take(store, 2, 2, START_MS + LATER_MS)
    near_one(store, theirs, tmp_path / "b.zip")
    assert sorted(boxes_of(store)) == [(1, 2), (21,), (24,)]
    export_bundle(store, tmp_path / "mine.zip", Wanted())
    assert filed_in(tmp_path / "mine.zip") == {1: False, 2: False, 21: True, 24: True}
    with (
        open_store(str(tmp_path / "hers.sqlite")) as hers,
        open_store(str(tmp_path / "his.sqlite")) as his,
    ):
        take(his, 2, 2, START_MS + LATER_MS)
        export_bundle(his, tmp_path / "his.zip", Wanted())
        take(hers, 1, 1)
        import_bundle(hers, tmp_path / "his.zip")
        assert sorted(boxes_of(hers)) == [(1,), (2,)], "two classes, of which no coach said so"
        export_bundle(hers, tmp_path / "hers.zip", Wanted())
    done = import_bundle(store, tmp_path / "hers.zip")
    (said,) = [words for words in done.kept if "as another class" in words]
    assert "Of class 1 the bundle has box" in said


def test_a_spare_in_a_class_that_an_import_left_as_it_was_is_still_said(store, theirs, tmp_path):
    take(store, 1, 1, stop_ms=90_000)
    spare = take(store, 11, 1, START_MS + 2 * LATER_MS)
    doubt = "Class 1 has logs of two boxes of station 1"
    assert doubt in " ".join(joining.doubts(store, [spare.run_id]))
    near_one(store, theirs, tmp_path / "b.zip")
    assert doubt in " ".join(joining.doubts(store, [spare.run_id]))


def test_a_log_of_a_class_that_was_never_said_to_be_one_is_not_told_as_said(
    store, theirs, tmp_path
):
    take(theirs, 1, 1)
    take(theirs, 2, 2)
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    import_bundle(store, tmp_path / "b.zip")
    with store.reading() as conn:
        name = min(conn.scalars(select(tables.runs.c.digest)))
        mine = conn.scalar(select(tables.runs.c.id).where(tables.runs.c.digest == name))
    with store.writing() as conn:
        filing.take_out(conn, mine)
    export_bundle(store, tmp_path / "mine.zip", Wanted())
    assert not any(filed_in(tmp_path / "mine.zip").values())


def test_a_bundle_s_class_that_comes_to_one_that_a_coach_said_here_is_told(store, theirs, tmp_path):
    """Each class in a bundle of its own: the second tells nothing of the first, which was said."""
    take_halls(theirs)
    filing.set_apart(theirs, 1, ["2", "3", "4"])
    other = filing.set_apart(theirs, 2, ["3", "4"])
    assert sorted(boxes_of(theirs)) == [(1,), (2,), (13, 14)]
    export_bundle(theirs, tmp_path / "said.zip", Wanted(frozenset([1])))
    with theirs.writing() as conn:  # an import there left these as they were, and no coach
        mine = tables.runs.c.class_id == other
        conn.execute(tables.runs.update().where(mine).values(filed=None))
    export_bundle(theirs, tmp_path / "free.zip", Wanted(frozenset([other])))
    see(store, 1, 2, 13, 14)
    assert import_bundle(store, tmp_path / "said.zip").kept == []
    done = import_bundle(store, tmp_path / "free.zip")
    assert sorted(boxes_of(store)) == [(1, 13, 14)]
    (said,) = done.kept
    assert said.startswith("Box 000d (station 3), 000e (station 4) came to class 1 by the rules")
    command = said.rsplit("handbell ", 1)[1].split()
    assert main([*command, "--store", str(store.engine.url.render_as_string(False))]) == 0
    assert sorted(boxes_of(store)) == [(1,), (13, 14)]
    assert import_bundle(store, tmp_path / "free.zip").kept == []


@pytest.mark.parametrize(("apart_min", "offered"), [(4, True), (6, False)])
def test_no_join_is_offered_that_would_be_refused(store, tmp_path, place, apart_min, offered):
    data = classes.timeline((BLOCKS[0][:1],), (2,), 2, rounds=1, rate=False)  # 5 min and a lead-in
    ours = classes.timeline((BLOCKS[0][:1],), (1,), 1, rounds=1, rate=False)
    at_us = (START_MS + 3_600_000) * 1000
    with open_store(str(tmp_path / "other.sqlite")) as other:
        other.put_timeline(data)
        other.put_plan(classes.PLAN_TEXT, "Two blocks")
        later = START_MS + apart_min * 60_000
        other.ingest(classes.play(data, [], later).journal, classes.BOX_IDS[1], at_us)
        export_bundle(other, tmp_path / "one.zip", Wanted(None, "", True))
    store.put_timeline(ours)
    store.ingest(classes.play(ours, [], START_MS).journal, classes.BOX_IDS[0], at_us)
    assert import_bundle(store, tmp_path / "one.zip").apart == {2: 1 if offered else None}
    with store.reading() as conn:
        said = joining.doubts_in(conn, [1, 2])
    assert bool(said) == offered
    assert (main(["class", "2", "--join", "1", "--store", place]) == 0) == offered
