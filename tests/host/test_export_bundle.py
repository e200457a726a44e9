"""Bundles between coaches: everything arrives once, and a damaged one is refused whole."""

import hashlib
import json
import random
import shutil
import zipfile

import classes
import pytest
from sqlalchemy import select
from store_places import import_bundle
from worn import worn_names

from handbell.base.errors import HandbellError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles import taking_in
from handbell.store.bundles.bundle import export_bundle
from handbell.store.bundles.taking_in import opened_bundle
from handbell.store.classes import filing, joining
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.logs.salvage import put_back
from handbell.store.people.forget import forget
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_efforts, amend_name, undo
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class

pytest_plugins = ["store_fixtures"]

COLLECTED_US = (classes.START_UTC_MS + 3_600_000) * 1000


def fill(store):
    for box, data, run in classes.make_class(boxes=3, rounds=1, seed=6):
        store.put_timeline(data)
        store.ingest(run.journal, box, COLLECTED_US)
    store.put_plan(classes.PLAN_TEXT, "Two blocks")
    set_wearers(store, 1, {1: "Mina", 2: "Otto"}, [6])
    record = load_class(store, 1)
    places = one_window(record, places_of(record, 2, Among("Ring rows")))
    amend_efforts(store, record, places, Change("reps", "3", "Coach", "saw it", 5))
    amend_name(store, load_class(store, 1), 1, Change("name", "Ada", "Coach", "not Mina", 6))


@pytest.fixture
def bundle(tmp_path):
    """A bundle of one class, with names, from a store of another coach."""
    path = tmp_path / "class.zip"
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        fill(theirs)
        export_bundle(theirs, path, Wanted())
    return path


OWN = ("origin", "filed", "kept", "met_seq")


def everything(store):
    """Every row of every table, but for what of a run differs by store: whose it is, met when."""
    with store.reading() as conn:
        return {
            name: conn.execute(
                select(*(c for c in table.c if c.name not in OWN)).order_by(*table.primary_key)
            ).all()
            for name, table in tables.metadata.tables.items()
            if name != "sayings"
        }


HALL_BOXES = classes.BOX_IDS[20:]


def take(store, boxes=3, seed=6, start_ms=classes.START_UTC_MS, ids=classes.BOX_IDS, some=None):
    """Take a class's logs in, of all boxes or some; return the number of its class."""
    made = classes.make_class(boxes=boxes, rounds=1, seed=seed, start_utc_ms=start_ms)
    for n, (_, data, run) in enumerate(made):
        store.put_timeline(data)
        if some is None or n in some:
            taken = store.ingest(run.journal, ids[n], COLLECTED_US)
    return taken.class_id


@pytest.fixture
def hall(tmp_path):
    """A bundle of the same plan in another hall, five minutes later, with other boxes."""
    path = tmp_path / "hall.zip"
    with open_store(str(tmp_path / "hall.sqlite")) as theirs:
        take(theirs, seed=9, start_ms=classes.START_UTC_MS + 60_000, ids=HALL_BOXES)
        set_wearers(theirs, 1, {1: "Zoë"})
        export_bundle(theirs, path, Wanted())
    return path


def by_class(store):
    """The ends of the box ids of each class."""
    found = {}
    with store.reading() as conn:
        for row in conn.execute(select(tables.runs).order_by(tables.runs.c.box_id)):
            found.setdefault(row.class_id, []).append(int(row.box_id[-2:], 16))
    return found


def test_another_halls_class_stays_apart_and_can_be_taken_out_again(store, place, hall, capsys):
    take(store)
    set_wearers(store, 1, {1: "Mina"})
    before = everything(store)
    assert main(["import", str(hall), "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "3 new of 3 logs, of class 2. " in said
    assert "Class 2 is kept apart from yours" in said
    assert "If it is one with class 1: handbell class 2 --join 1." in said
    assert by_class(store) == {1: [1, 2, 3], 2: [21, 22, 23]}
    assert load_class(store, 1).wearers[1].name == "Mina"
    assert load_class(store, 2).wearers[1].name == "Zoë"
    again = import_bundle(store, hall)
    assert (again.runs_new, again.classes, again.kept) == (0, [2], [])
    assert main(["class", "2", "--delete", "--store", place]) == 2, "nobody is there to ask"
    assert main(["class", "2", "--delete", "--yes", "--store", place]) == 0
    assert "Class 2 is gone, with 3 logs" in capsys.readouterr().out
    after = everything(store)
    for table in ("timelines", "tasks", "persons"):  # others may have them; a deletion is undone
        after.pop(table), before.pop(table)
    assert after == before
    assert import_bundle(store, hall).runs_new == 3


def test_a_box_of_ours_that_comes_later_joins_our_class_and_not_the_other_halls(store, hall):
    take(store, some=(0,))
    import_bundle(store, hall)
    take(store)
    assert by_class(store) == {1: [1, 2, 3], 2: [21, 22, 23]}


def test_a_class_of_which_two_computers_collected_boxes_comes_together(store, tmp_path):
    take(store, boxes=4, some=(0, 1))
    for n in (2, 3):  # they were loaded from here, too
        store.add_contact((classes.BOX_IDS[n], 1, 10**9, COLLECTED_US - 10**10, 400, 0, "send"))
    with open_store(str(tmp_path / "second.sqlite")) as second:
        take(second, boxes=4, some=(2, 3))
        export_bundle(second, tmp_path / "second.zip", Wanted())
    done = import_bundle(store, tmp_path / "second.zip")
    assert (done.classes, done.apart) == ([1], {})
    assert by_class(store) == {1: [1, 2, 3, 4]}


def test_boxes_that_were_never_here_come_to_our_class_on_the_coachs_word(store, place, tmp_path):
    take(store, boxes=4, some=(0, 1))
    set_wearers(store, 1, {1: "Mina"})
    with open_store(str(tmp_path / "second.sqlite")) as second:
        take(second, boxes=4, some=(2, 3))
        set_wearers(second, 1, {5: "Otto"})
        export_bundle(second, tmp_path / "second.zip", Wanted())
    assert import_bundle(store, tmp_path / "second.zip").apart == {2: 1}
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert by_class(store) == {1: [1, 2, 3, 4]}
    assert {b: w.name for b, w in load_class(store, 1).wearers.items()} == {1: "Mina", 5: "Otto"}
    assert import_bundle(store, tmp_path / "second.zip").apart == {}
    take(store, boxes=5, some=(4,))
    assert by_class(store) == {1: [1, 2, 3, 4, 5]}, "our other boxes still come to it"
    assert main(["class", "1", "--apart", "3", "0004", "--store", place]) == 0
    (other,) = set(by_class(store)) - {1}
    assert by_class(store) == {1: [1, 2, 5], other: [3, 4]}
    assert load_class(store, other).wearers[5].name == "Otto"


def test_a_box_that_comes_after_its_class_came_in_a_bundle_is_told_of(store, place, tmp_path):
    with open_store(str(tmp_path / "old.sqlite")) as old:
        take(old, some=(0, 1))
        export_bundle(old, tmp_path / "old.zip", Wanted())
    import_bundle(store, tmp_path / "old.zip")
    take(store, some=(2,))
    assert by_class(store) == {1: [1, 2], 2: [3]}
    with store.reading() as conn:
        some = conn.scalars(select(tables.runs.c.id)).all()
    (said,) = set(joining.doubts(store, some[-1:]))
    assert "one of them came in a bundle or was set apart" in said
    assert "handbell class 2 --join 1" in said
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert joining.doubts(store, some) == []
    take(store, boxes=4, some=(3,))
    assert by_class(store) == {1: [1, 2, 3, 4]}, "a class joined with one of ours is ours"


def test_what_can_not_be_one_class_is_not_joined(store, hall, place, capsys):
    take(store)
    take(store, start_ms=classes.START_UTC_MS + 86_400_000)
    assert main(["class", "1", "--join", "2", "--store", place]) == 2
    assert "played station 1 in class 1 and in class 2" in capsys.readouterr().err
    assert main(["class", "1", "--join", "1", "--store", place]) == 2
    assert main(["class", "1", "--join", "9", "--store", place]) == 1
    assert main(["class", "1", "--apart", "1", "2", "3", "--store", place]) == 2
    assert "Name fewer boxes" in capsys.readouterr().err
    assert main(["class", "1", "--apart", "ffff", "--store", place]) == 2
    assert "Its boxes are 0001 (station 1), 0002 (station 2)" in capsys.readouterr().err
    assert by_class(store) == {1: [1, 2, 3], 2: [1, 2, 3]}


def test_a_bundle_of_an_earlier_version_tells_no_classes_and_stays_apart_as_well(
    store, hall, tmp_path
):
    take(store)
    done = import_bundle(store, changed(hall, tmp_path / "old.zip", without_classes))
    assert done.apart == {2: 1}
    assert by_class(store) == {1: [1, 2, 3], 2: [21, 22, 23]}


DAY_MS = 86_400_000


def without_classes(told, _):
    """Make a bundle as an earlier version wrote them."""
    for one in told["runs"]:
        del one["class"]


@pytest.fixture
def three_days(tmp_path):
    """Bundles of three classes of another hall, a day apart: of the first, and of all by plan."""
    with open_store(str(tmp_path / "days.sqlite")) as theirs:
        for day in range(3):
            start_ms = classes.START_UTC_MS + day * DAY_MS
            take(theirs, boxes=2, seed=day, start_ms=start_ms, ids=HALL_BOXES)
        export_bundle(theirs, tmp_path / "first.zip", Wanted(frozenset([1])))
        export_bundle(theirs, tmp_path / "days.zip", Wanted())
    old = changed(tmp_path / "days.zip", tmp_path / "old.zip", without_classes)
    return tmp_path / "first.zip", old


def test_a_bundle_of_an_earlier_version_does_not_melt_classes_though_one_is_known(
    store, three_days
):
    first, old = three_days
    import_bundle(store, first)
    assert import_bundle(store, old).classes == [1, 2, 3]
    assert by_class(store) == {n: [21, 22] for n in (1, 2, 3)}
    assert import_bundle(store, old).runs_new == 0


def test_of_an_earlier_versions_bundle_only_the_class_of_which_we_have_a_log_is_ours(
    store, three_days
):
    _, old = three_days
    take(store, boxes=2, seed=0, ids=HALL_BOXES, some=(0,))
    take(store, boxes=2, seed=77, start_ms=classes.START_UTC_MS + DAY_MS)
    done = import_bundle(store, old)
    assert by_class(store) == {1: [21, 22], 2: [1, 2], 3: [21, 22], 4: [21, 22]}
    assert done.apart == {3: 2, 4: None}


def test_a_single_log_is_set_apart_where_a_box_has_several(store, place, three_days, capsys):
    import_bundle(store, three_days[1])
    with store.writing() as conn:  # as an earlier version took such a bundle for one class
        conn.execute(tables.runs.update().values(filed="f" * 24, class_id=1))
    assert main(["class", "1", "--store", place]) == 0
    assert capsys.readouterr().out.count(", log ") == 6
    with store.reading() as conn:
        some = select(tables.runs).where(tables.runs.c.start_utc_us > COLLECTED_US)
        by_day = {}
        for row in conn.execute(some):
            by_day.setdefault(row.start_utc_us // 86_400_000_000, []).append(row.digest[:8])
    for logs in by_day.values():
        assert main(["class", "1", "--apart", *logs, "--store", place]) == 0
    assert list(by_class(store).values()) == [[21, 22]] * 3


def test_what_arrives_is_what_was_there_and_twice_changes_nothing(store, bundle, tmp_path):
    done = import_bundle(store, bundle)
    assert (done.runs_new, done.plans_new, done.timelines_new, done.classes) == (3, 1, 3, [1])
    assert (done.amendments_new, done.names_new, done.kept) == (2, 3, [])
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        assert everything(store) == everything(theirs)
    before = everything(store)
    again = import_bundle(store, bundle)
    assert (again.runs, again.runs_new, again.names_new, again.kept) == (3, 0, 0, [])
    assert everything(store) == before


def test_the_same_classes_give_the_same_bytes(store, bundle, tmp_path):
    import_bundle(store, bundle)
    export_bundle(store, tmp_path / "again.zip", Wanted())
    assert (tmp_path / "again.zip").read_bytes() == bundle.read_bytes()


def test_names_stay_at_home_unless_asked_for(store, bundle, tmp_path):
    import_bundle(store, bundle)
    export_bundle(store, tmp_path / "b.zip", Wanted(names=False))
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        text = "".join(file.read(name).decode("latin-1") for name in file.namelist())
    for name in ("Mina", "Otto", "Ada", "Coach", "saw it"):
        assert name not in text
    with open_store(str(tmp_path / "third.sqlite")) as third:
        done = import_bundle(third, tmp_path / "b.zip")
        assert (done.amendments_new, done.names_new) == (1, 0)
        assert load_class(third, 1).wearers == {}


def test_who_corrected_and_why_comes_with_a_later_bundle_that_has_names(store, bundle, tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        export_bundle(theirs, tmp_path / "plain.zip", Wanted(names=False))
    import_bundle(store, tmp_path / "plain.zip")
    assert {(a.who, a.why) for a in load_class(store, 1).amendments} == {("", "")}
    import_bundle(store, bundle)
    import_bundle(store, tmp_path / "plain.zip")
    assert {a.why for a in load_class(store, 1).amendments} == {"saw it", "not Mina"}
    assert {a.who for a in load_class(store, 1).amendments} == {"Coach"}


def test_what_is_known_here_stays_and_is_told(store, bundle):
    made = classes.make_class(boxes=3, rounds=1, seed=6)
    box, data, run = made[0]
    store.put_timeline(data)
    store.ingest(run.journal, box, COLLECTED_US + 60_000_000)
    set_wearers(store, 1, {2: "Somebody else"})
    done = import_bundle(store, bundle)
    assert (done.runs_new, done.classes) == (2, [1])
    assert done.kept == [
        "Bib 2 of class 1 is Somebody else here and stays so; the bundle says Otto"
    ]
    assert load_class(store, 1).wearers[2].name == "Somebody else"
    assert load_class(store, 1).wearers[1].name == "Ada"


def test_an_amendment_taken_back_there_is_taken_back_here(store, bundle, tmp_path):
    import_bundle(store, bundle)
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        for one in load_class(theirs, 1).amendments:
            undo(theirs, load_class(theirs, 1), one.digest, "Coach", 9)
        export_bundle(theirs, bundle, Wanted())
        import_bundle(store, bundle)
        assert load_class(store, 1).wearers[1].name == "Mina"
        assert everything(store) == everything(theirs)


def test_a_forgotten_name_does_not_hinder_a_bundle(bundle, tmp_path):
    text = b'title = "Mina\'s day"\n'
    with open_store(str(tmp_path / "a.sqlite")) as here:
        data = classes.timeline(plan=text, title="Mina's day")
        here.put_timeline(data)
        here.put_plan(text, "Mina's day")
        here.ingest(classes.play(data).journal, classes.BOX_IDS[0], COLLECTED_US)
        forget(here, "Mina")
        export_bundle(here, tmp_path / "c.zip", Wanted())
        assert import_bundle(here, tmp_path / "c.zip").runs_new == 0
        with open_store(str(tmp_path / "b.sqlite")) as there:
            assert import_bundle(there, tmp_path / "c.zip").runs_new == 1
            assert load_class(there, 1).row.title == "(name removed)'s day"
            assert everything(there)["timelines"] == everything(here)["timelines"]


def test_every_damage_is_found_and_nothing_is_taken_in(store, bundle, tmp_path):
    data = bundle.read_bytes()
    before = everything(store)
    rng = random.Random(2)
    broken = tmp_path / "broken.zip"
    cuts = [data[:n] for n in (0, 1, 22, len(data) // 2, len(data) - 1)]
    # A flip in a field that no reader looks at, such as a time stamp, may leave all as it was.
    flips = []
    for _ in range(60):
        at = rng.randrange(len(data))
        flips.append(data[:at] + bytes([data[at] ^ 1 << rng.randrange(8)]) + data[at + 1 :])
    refused = 0
    for n, bad in enumerate(cuts + flips):
        broken.write_bytes(bad)
        try:
            found = content(broken)
        except HandbellError as error:
            assert "Nothing of it was taken in" in str(error)
            refused += 1
            continue
        assert n >= len(cuts)
        assert found == content(bundle)
    assert refused > 40
    assert everything(store) == before


def content(path):
    """What a bundle holds."""
    with opened_bundle(path) as found:
        return found.told, dict(found.parts)


def changed(bundle, into, change):
    """Write a bundle anew with its list changed, and the list's digest made right again."""

    with zipfile.ZipFile(bundle) as old, zipfile.ZipFile(into, "w") as new:
        told = json.loads(old.read("bundle.json"))
        parts = {name: old.read(name) for name in told["parts"]}
        change(told, parts)
        listed = json.dumps(told).encode()
        for name, data in parts.items():
            new.writestr(name, data)
        new.writestr("bundle.json", listed)
        new.writestr("bundle.sha256", hashlib.sha256(listed).hexdigest())
    return into


def pair(start_ms, box, mark=0):
    """A box of station 1 with the bibs 1 and 2."""
    data = classes.timeline(SHORT, (1, 2), 1)
    run = classes.play(data, [classes.Press(11_000 + box + mark)], start_ms)
    return classes.BOX_IDS[box], data, run.journal


SHORT = ((classes.Piece("Ring rows", 30),),)


def put(into, *made):
    for box, data, journal in made:
        into.put_timeline(data)
        into.ingest(journal, box, COLLECTED_US)


def without_logs(told, parts):
    for one in told["wearers"]:
        del one["logs"]


def worn_of(store):
    """Who has each bib in the class of each box."""
    names = {(class_id, bib): name for class_id, bib, name in worn_names(store)}
    with store.reading() as conn:
        of = {r.box_id: r.class_id for r in conn.execute(select(tables.runs))}
    return {
        box: {bib: name for (class_id, bib), name in names.items() if class_id == there}
        for box, there in of.items()
    }


def test_a_bundle_knows_of_which_logs_a_name_was_said(store, tmp_path):
    mine, late = pair(classes.START_UTC_MS, 0), pair(classes.START_UTC_MS, 5, 400)
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        put(theirs, mine)
        set_wearers(theirs, 1, {1: "Mina"})
        put(theirs, late)  # of it the name was not said
        set_wearers(theirs, 1, {2: "Otto"})  # of both
        export_bundle(theirs, tmp_path / "b.zip", Wanted())
        logs = [(w.bib, w.logs) for w in everything(theirs)["wearers"]]
        assert logs == [(1, classes.digest_of(mine[2])), (2, None)]
    import_bundle(store, tmp_path / "b.zip")
    assert [(w.bib, w.logs) for w in everything(store)["wearers"]] == logs
    before = everything(store)
    assert import_bundle(store, tmp_path / "b.zip").names_new == 0
    assert everything(store) == before
    filing.set_apart(store, 1, [late[0]])
    assert worn_of(store) == {mine[0]: {1: "Mina", 2: "Otto"}, late[0]: {2: "Otto"}}


@pytest.mark.parametrize("older", [False, True])
def test_a_name_in_a_bundle_is_not_said_of_logs_that_are_here_alone(store, tmp_path, older):
    mine, other = pair(classes.START_UTC_MS, 0), pair(classes.START_UTC_MS, 5, 400)
    put(store, mine, other)
    path = tmp_path / "b.zip"
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        put(theirs, mine)
        set_wearers(theirs, 1, {1: "Mina"})
        export_bundle(theirs, path, Wanted())
    import_bundle(store, changed(path, tmp_path / "old.zip", without_logs) if older else path)
    filing.set_apart(store, 1, [other[0]])
    assert worn_of(store) == {mine[0]: {1: "Mina"}, other[0]: {}}


def test_a_name_said_of_a_class_that_is_two_here_goes_to_both(store, tmp_path):
    one, two = pair(classes.START_UTC_MS, 0), pair(classes.START_UTC_MS, 5, 400)
    put(store, one, two)
    filing.set_apart(store, 1, [two[0]])
    set_wearers(store, 1, {2: "Otto"})
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        put(theirs, one, two)
        set_wearers(theirs, 1, {1: "Mina", 2: "Otto"})
        export_bundle(theirs, tmp_path / "b.zip", Wanted())
    assert import_bundle(store, tmp_path / "b.zip").kept == []
    assert worn_of(store) == {box: {1: "Mina", 2: "Otto"} for box in (one[0], two[0])}


def test_a_name_said_here_of_one_log_and_in_a_bundle_of_another_is_said_of_both(store, tmp_path):
    one, two = pair(classes.START_UTC_MS, 0), pair(classes.START_UTC_MS, 5, 400)
    put(store, one)
    set_wearers(store, 1, {1: "Mina"})
    put(store, two)
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        put(theirs, two)
        set_wearers(theirs, 1, {1: "Mina"})
        export_bundle(theirs, tmp_path / "b.zip", Wanted())
    import_bundle(store, tmp_path / "b.zip")
    filing.set_apart(store, 1, [two[0]])
    assert worn_of(store) == {one[0]: {1: "Mina"}, two[0]: {1: "Mina"}}


def test_a_name_that_was_forgotten_in_one_half_does_not_come_from_the_other(store, tmp_path):
    one, two = pair(classes.START_UTC_MS, 0), pair(classes.START_UTC_MS, 5, 400)
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        put(theirs, one, two)
        set_wearers(theirs, 1, {1: "Mina"})
        half = filing.set_apart(theirs, 1, [two[0]])
        set_wearers(theirs, half, {1: "Otto"})
        export_bundle(theirs, tmp_path / "b.zip", Wanted())
    assert import_bundle(store, tmp_path / "b.zip").kept == []
    assert worn_of(store) == {one[0]: {1: "Mina"}, two[0]: {1: "Otto"}}


def _swap(told, parts):

    one, two = sorted(name for name in parts if name.startswith("logs/"))[:2]
    parts[one], parts[two] = parts[two], parts[one]
    for name in (one, two):
        told["parts"][name] = hashlib.sha256(parts[name]).hexdigest()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda told, parts: told.update(version=2), "it is handbell bundle 2, here"),
        (lambda told, parts: parts.update(extra=b"x"), "what is no part of a bundle"),
        (lambda told, parts: told["timelines"].pop(), "its parts|is not in it"),
        (lambda told, parts: told.pop("runs"), "its runs is missing"),
        (
            lambda told, parts: told["amendments"][0].pop("who"),
            "its amendments, row 1: who is miss",
        ),
        (lambda told, parts: told["wearers"][0].update(bib="seven"), "its wearers, row 1: bib is"),
        (lambda told, parts: told["wearers"][0].update(log="0"), "its wearers, row 1: log is"),
        (lambda told, parts: told["wearers"][0].update(logs="0"), "its wearers, row 1: logs is"),
        (lambda told, parts: told["wearers"][0].update(logs=7), "its wearers, row 1: logs is"),
        (_swap, "is another one"),
        (lambda told, parts: told["runs"][0].update({"class": "0"}), "its runs, row 1: class"),
    ],
)
def test_a_list_that_makes_no_sense_is_refused(store, bundle, tmp_path, change, why):
    before = everything(store)
    with pytest.raises(HandbellError, match=why):
        import_bundle(store, changed(bundle, tmp_path / "b.zip", change))
    assert everything(store) == before


def test_a_failure_half_way_leaves_nothing(store, bundle, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError

    before = everything(store)
    with monkeypatch.context() as patched, pytest.raises(ZeroDivisionError):
        patched.setattr(taking_in, "settle_names", fail)
        import_bundle(store, bundle)
    assert everything(store) == before
    assert import_bundle(store, bundle).runs_new == 3


def test_the_commands_hand_a_class_over(store, place, bundle, tmp_path, capsys):
    assert main(["import", str(bundle), "--store", place]) == 0
    assert "3 new of 3 logs, of class 1." in capsys.readouterr().out
    assert main(["export", str(tmp_path / "x.zip"), "1", "--store", place]) == 0
    assert "runs 3, timelines 3, plans 1" in capsys.readouterr().out
    assert main(["import", str(tmp_path / "none.zip"), "--store", place]) == 1
    shutil.copy(__file__, tmp_path / "no.zip")
    assert main(["import", str(tmp_path / "no.zip"), "--store", place]) == 1
    assert "no.zip is no bundle of handbell" in capsys.readouterr().err


def damaged(store, tmp_path):
    """A bundle of a class of which one log does not say what was played; return that log too."""
    for box, data, run in classes.make_class(boxes=2, rounds=1):
        store.put_timeline(data)
        journal = bytearray(run.journal)
        journal[4] ^= 0x55 * (box == classes.BOX_IDS[1])
        store.ingest(bytes(journal), box, COLLECTED_US)
    store.put_plan(classes.PLAN_TEXT, "Two blocks")
    set_wearers(store, 1, {1: "Mina", 3: "Otto"})
    export_bundle(store, tmp_path / "damaged.zip", Wanted())
    return tmp_path / "damaged.zip", classes.digest_of(bytes(journal))


def test_a_log_that_was_put_back_stays_aside_whatever_a_bundle_says(store, place, tmp_path, capsys):
    path, log = damaged(store, tmp_path)
    set_wearers(store, 1, {3: ""})
    put_back(store, log[:8])
    before = everything(store)
    assert main(["import", str(path), "--store", place]) == 0
    assert f"Log {log[:8]} was put back here and stays aside" in capsys.readouterr().out
    after = everything(store)
    for table in ("unread", "runs", "results"):
        assert after[table] == before[table]


def test_a_log_that_could_not_be_read_is_no_longer_listed_once_a_bundle_has_it(store, tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        path, log = damaged(theirs, tmp_path)
        with theirs.reading() as conn:
            row = conn.execute(select(tables.runs).where(tables.runs.c.digest == log)).one()
    aside = {name: getattr(row, name) for name in ("digest", "box_id", "collected_utc_us")}
    aside |= {"reason": "its first record is damaged", "journal": row.journal}
    store.doing(lambda conn: conn.execute(tables.unread.insert().values(aside)))
    assert import_bundle(store, path).runs_new == 2
    assert everything(store)["unread"] == []


def test_a_name_goes_to_the_class_whose_log_has_the_bib(store, tmp_path):
    half_an_hour = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)
    one, two = classes.make_class(boxes=2, blocks=half_an_hour)
    late = classes.play(two[1], [classes.Press(11_000, 0)], classes.START_UTC_MS + 25 * 60_000)

    def take_both(into):
        for box, data, run in (one, (two[0], two[1], late)):
            into.put_timeline(data)
            into.ingest(run.journal, box, COLLECTED_US)

    take_both(store)
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        take_both(theirs)
        theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
        filing.join_classes(theirs, 2, 1)
        set_wearers(theirs, 1, {1: "Mina", 3: "Otto"})
        export_bundle(theirs, tmp_path / "joined.zip", Wanted())
    import_bundle(store, tmp_path / "joined.zip")
    assert set(worn_names(store)) == {(1, 1, "Mina"), (2, 3, "Otto")}
