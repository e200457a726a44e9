"""When a class began by a bundle: what comes with it, and what is only told."""

import shlex

import classes
import pytest
from sqlalchemy import select
from store_places import import_bundle
from test_store_dated import told_by_box
from test_store_redated import MINUTE_MS, START_MS, WEEK_MS, YEAR_MS, filed, take

from handbell.base.times import local_time
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.bundles.classes import _classes
from handbell.store.bundles.taking_in import opened_bundle
from handbell.store.classes.filing import set_apart, set_date
from handbell.store.classes.together import MINUTE_US
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.results.settle import settle_all


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


@pytest.fixture
def theirs(tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as opened:
        yield opened


def bundle(store, tmp_path):
    file = tmp_path / "class.zip"
    file.unlink(missing_ok=True)
    export_bundle(store, file, Wanted())
    return file


def starts(store):
    with store.reading() as conn:
        r = tables.runs.c
        return list(conn.scalars(select(r.start_utc_us).order_by(r.station)))


@pytest.fixture
def typed(store, monkeypatch, capsys):
    """Return what does a command that a sentence told, as a coach would type it."""
    monkeypatch.setattr("handbell.work.after.filing.host_clock", LaterClock)

    def do(command):
        name, *words = shlex.split(command)
        assert name == "handbell"
        assert main([*words, "--store", store.name]) == 0, capsys.readouterr().err

    return do


class LaterClock:
    """A clock on the wall, two years later."""

    def utc_us(self):
        return (START_MS + 2 * YEAR_MS) * 1000


def told_date(class_id, utc_ms):
    when = f"{local_time(utc_ms * 1000):%Y-%m-%d %H:%M:%S}"
    command = f'handbell class {class_id} --date "{when}"'
    return f"Class {class_id} is dated {when} there: {command} dates it so here.", command


def in_both(store, theirs, ours, yours, start_ms=START_MS):
    for where, boxes in ((store, ours), (theirs, yours)):
        for box in boxes:
            take(where, box, start_ms, start_ms + 40 * MINUTE_MS, 5)


def test_a_bundle_s_date_leaves_the_logs_that_are_here_and_it_is_told(
    store, theirs, tmp_path, typed
):
    """Their coach took a right date for a wrong one."""
    in_both(store, theirs, (1, 2, 3), (1, 2))
    set_date(theirs, 1, (START_MS - YEAR_MS) * 1000)
    file = bundle(theirs, tmp_path)
    words, command = told_date(1, START_MS - YEAR_MS)
    for _ in range(2):
        assert import_bundle(store, file).kept == [words]
        assert starts(store) == [START_MS * 1000] * 3 and filed(store) == [[1, 2, 3]]
    typed(command)
    assert starts(store) == [(START_MS - YEAR_MS) * 1000] * 3 and filed(store) == [[1, 2, 3]]
    assert import_bundle(store, file).kept == []
    set_date(store, 1, None)
    assert import_bundle(store, file).kept == [words]
    assert starts(store) == [START_MS * 1000] * 3, "a date that was taken back stays so"


def test_a_date_of_a_coach_here_stays_and_that_is_said(store, theirs, tmp_path, typed):
    in_both(store, theirs, (1, 2), (1, 2), START_MS + YEAR_MS)
    set_date(theirs, 1, START_MS * 1000)
    set_date(store, 1, (START_MS + MINUTE_MS) * 1000)
    file = bundle(theirs, tmp_path)
    words, command = told_date(1, START_MS)
    assert import_bundle(store, file).kept == [words]
    assert starts(store) == [(START_MS + MINUTE_MS) * 1000] * 2
    typed(command)
    assert starts(store) == [START_MS * 1000] * 2 and import_bundle(store, file).kept == []


def test_new_logs_come_with_their_date_and_the_way_to_one_class_works(
    store, theirs, tmp_path, typed
):
    """The computers of both were a year ahead, and a fourth box was collected here alone."""
    in_both(store, theirs, (1, 2, 4), (1, 2, 3), START_MS + YEAR_MS)
    set_date(theirs, 1, START_MS * 1000)
    file = bundle(theirs, tmp_path)
    words, command = told_date(1, START_MS)
    assert import_bundle(store, file).kept == [
        words,
        "The bundle has classes 1 and 2 as one. Date class 1 first as it is there, then import "
        "it again",
    ]
    assert filed(store) == [[1, 2, 3], [4]]
    typed(command)
    assert starts(store) == [START_MS * 1000] * 4 and len(filed(store)) == 1
    assert import_bundle(store, file).kept == []


def test_no_date_is_told_for_a_class_of_which_a_part_was_dated_there(
    store, theirs, tmp_path, typed
):
    """First the class is parted here as there; then the part's date is told."""
    in_both(store, theirs, (1, 2, 3), (1, 2, 3))
    part = set_apart(theirs, 1, [classes.BOX_IDS[2]])
    set_date(theirs, part, (START_MS - WEEK_MS) * 1000)
    file = bundle(theirs, tmp_path)
    (said,) = import_bundle(store, file).kept
    assert starts(store) == [START_MS * 1000] * 3 and filed(store) == [[1, 2, 3]]
    typed(said.split(": ")[1].removesuffix(", then import it again"))
    words, command = told_date(2, START_MS - WEEK_MS)
    assert import_bundle(store, file).kept == [words]
    typed(command)
    assert starts(store) == [START_MS * 1000] * 2 + [(START_MS - WEEK_MS) * 1000]
    assert import_bundle(store, file).kept == []


def test_where_no_one_date_makes_a_class_as_there_it_is_dated_as_logged_first(
    store, theirs, tmp_path, typed
):
    """Box 3 came with its date, ten minutes before that of the others here."""
    in_both(store, theirs, (1, 2), (1, 2, 3))
    set_date(theirs, 1, (START_MS - 10 * MINUTE_MS) * 1000)
    file = bundle(theirs, tmp_path)
    command = "handbell class 1 --date logged"
    said = f"Class 1 is dated otherwise there. To see how: {command}, then import it again"
    assert import_bundle(store, file).kept == [said]
    assert filed(store) == [[1, 2, 3]]
    typed(command)
    words, command = told_date(1, START_MS - 10 * MINUTE_MS)
    assert import_bundle(store, file).kept == [words]
    typed(command)
    assert starts(store) == [(START_MS - 10 * MINUTE_MS) * 1000] * 3
    assert import_bundle(store, file).kept == []


def test_a_bundle_tells_how_far_a_box_s_date_may_be_off_and_it_outlives_a_date_by_hand(
    store, theirs, tmp_path
):
    data = classes.timeline()
    theirs.put_timeline(data)
    theirs.put_plan(classes.PLAN_TEXT, "Evening")
    hour_us = 60 * MINUTE_US
    met = (classes.BOX_IDS[0], 4, 2 * hour_us, START_MS * 1000 + hour_us, 400, 0, "collect")
    theirs.add_contact(met)  # it had been on for an hour when it began
    journal = told_by_box(data, on_ms=hour_us // 1000)
    theirs.ingest(journal, classes.BOX_IDS[0], START_MS * 1000 + hour_us)

    def date_of(where):
        r = tables.runs.c
        with where.reading() as conn:
            return conn.execute(select(r.start_utc_us, r.dated_by, r.bound_us)).one()

    before = date_of(theirs)
    assert before.dated_by == "box" and before.bound_us > 400
    import_bundle(store, bundle(theirs, tmp_path))
    assert date_of(store) == before
    set_date(store, 1, START_MS * 1000 - hour_us)
    store.doing(settle_all)
    set_date(store, 1, None)
    assert date_of(store) == before


def test_a_class_of_a_bundle_began_when_its_coach_said(theirs, tmp_path):
    for box in (1, 2):
        take(theirs, box, START_MS + YEAR_MS, START_MS + YEAR_MS + 40 * MINUTE_MS, 5)
    set_date(theirs, 1, START_MS * 1000)
    with opened_bundle(bundle(theirs, tmp_path)) as found:
        found.told["runs"][0]["filed"] = True  # else it does not matter when it began
        (one,) = _classes(found.told, found.parts)
    assert one.starts_us == [START_MS * 1000] * 2


def test_a_class_that_was_dated_there_in_part_is_only_said_to_be_dated_otherwise(
    store, theirs, tmp_path
):
    """Box 3 came there after the date was said, and began by its own clock ten minutes later."""
    in_both(store, theirs, (1, 2, 3), (1, 2))
    set_date(theirs, 1, (START_MS - 10 * MINUTE_MS) * 1000)
    in_both(store, theirs, (), (3,))
    assert filed(theirs) == [[1, 2, 3]]
    told = import_bundle(store, bundle(theirs, tmp_path)).kept
    assert told == ["Class 1 is dated otherwise there."]
    assert starts(store) == [START_MS * 1000] * 3
