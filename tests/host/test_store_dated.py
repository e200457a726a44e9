"""Classes whose logs tell no date, or a wrong one: dated by the box's own clock, or by hand."""

import struct
from datetime import datetime

import classes
import pytest

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes.filing import set_date
from handbell.store.logs.moments import moments_of
from handbell.store.results.queries import list_classes, load_class
from handbell_core import journal as j
from handbell_core.runner import AT_GATE, PLAY

pytest_plugins = ["store_fixtures"]

BOX = classes.BOX_IDS[0]
START_US = classes.START_UTC_MS * 1000
HOUR_US = 3_600_000_000
ON_MS = 7_200_000  # how long the box had been on at class_ms 0


def told_by_box(data, boot=4, on_ms=ON_MS, **how) -> bytes:
    """Return the log of a box without a clock, that tells how long it had been on."""
    out = []
    for record in classes.play(data, start_utc_ms=None, boot=boot, **how).records:
        kind, slot, window, class_ms, payload = j.parse_record(record)
        if kind == j.STATE:
            state, cause, _, utc_ms = struct.unpack("<BBHq", payload)
            assert utc_ms < 0
            payload = struct.pack("<BBHq", state, cause, 0, -2 - (on_ms + class_ms))
            record = j.record(kind, slot, window, class_ms, payload)
        out.append(record)
    return b"".join(out)


def contact(store, boot, utc_us, box_us, bound_us=400):
    store.add_contact((BOX, boot, box_us, utc_us, bound_us, 0, "collect"))


def collected(store, journal, at_us, box=BOX):
    return store.ingest(journal, box, at_us)


@pytest.fixture
def data(store):
    made = classes.timeline()
    store.put_timeline(made)
    return made


@pytest.mark.parametrize("after_us", [HOUR_US, 30 * HOUR_US, -HOUR_US])
def test_a_clock_measured_in_the_same_start_dates_the_log(store, data, after_us):
    contact(store, 4, START_US + after_us, ON_MS * 1000 + after_us)
    run = collected(store, told_by_box(data), START_US + 40 * HOUR_US)
    (row,) = load_class(store, run.class_id).runs
    assert row.start_utc_us == START_US and row.dated_by == "box"
    # 30 ppm of a crystal that is not known and 1.5 ppm of temperature, for the time between
    assert row.bound_us == pytest.approx(400 + 31.5e-6 * abs(after_us), abs=2)
    assert row.clock == "lost", "it was in step with nobody"


@pytest.mark.parametrize(
    "contacts",
    [
        [],
        [(5, HOUR_US, HOUR_US)],  # the box was started again before it was collected
        [(4, -100 * HOUR_US, HOUR_US), (9, -50 * HOUR_US, 0), (2, HOUR_US, 0)],  # erased since
        [(4, 0, 100 * HOUR_US)],  # then it would have begun before it was on
    ],
)
def test_a_log_of_another_start_stays_without_a_date(store, data, contacts):
    for boot, after_us, box_us in contacts:
        contact(store, boot, START_US + after_us, ON_MS * 1000 + box_us)
    on_ms = ON_MS if len(contacts) != 1 or contacts[0][0] != 4 else ON_MS + 400 * 3_600_000
    run = collected(store, told_by_box(data, on_ms=on_ms), START_US + 2 * HOUR_US)
    (row,) = load_class(store, run.class_id).runs
    assert row.start_utc_us is None and row.dated_by is None


def test_a_log_as_before_stays_as_before(store, data):
    contact(store, 4, START_US + HOUR_US, ON_MS * 1000 + HOUR_US)
    run = collected(store, classes.play(data, start_utc_ms=None, boot=4).journal, START_US)
    assert load_class(store, run.class_id).runs[0].start_utc_us is None


def test_dated_logs_of_two_boxes_are_one_class(store, data):
    other = classes.timeline(station=2)
    store.put_timeline(other)
    contact(store, 4, START_US + HOUR_US, ON_MS * 1000 + HOUR_US)
    one = collected(store, told_by_box(data), START_US + HOUR_US)
    two = classes.play(other, start_utc_ms=classes.START_UTC_MS + 2_000).journal
    assert collected(store, two, START_US + HOUR_US, classes.BOX_IDS[1]).class_id == one.class_id


@pytest.mark.parametrize(
    "since_ms, until_ms, stood_ms",
    [
        (-2 - 90_000, -2 - 130_000, 40_000),
        (5_000, 45_000, 40_000),
        (-1, -2 - 9, None),
        (7, -9, None),
    ],
)
def test_how_long_a_box_stood_is_known_by_whichever_clock_it_had(since_ms, until_ms, stood_ms):
    def state(now, cause, told_ms):
        return j.STATE, 0, 0, 60_000, struct.pack("<BBHq", now, cause, 0, told_ms)

    (gate,) = moments_of([state(AT_GATE, 0, since_ms), state(PLAY, j.BY_HAND, until_ms)])
    assert gate.kind == "gate" and gate.stood_ms == stood_ms
    assert gate.utc_ms == (until_ms if until_ms >= 0 else None)


def said(capsys, *words):
    code = main([*words])
    out = capsys.readouterr()
    return code, " ".join((out.out + out.err).split())


def test_a_class_is_dated_by_hand_and_back(store, data, place, capsys):
    year_us = 365 * 24 * HOUR_US
    other = classes.timeline(station=2)
    store.put_timeline(other)
    journals = [
        classes.play(one, start_utc_ms=classes.START_UTC_MS + year_us // 1000 + n * 2_000).journal
        for n, one in enumerate((data, other))
    ]
    for box, journal in zip(classes.BOX_IDS, journals, strict=False):
        run = collected(store, journal, START_US + year_us + HOUR_US, box)
    when = datetime.fromtimestamp(START_US / 1e6)
    word = f"{when:%Y-%m-%d %H:%M:%S}"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("time.time_ns", lambda: (START_US + 2 * HOUR_US) * 1000)
        code, out = said(capsys, "class", "newest", "--date", word, "--store", place)
        assert code == 0 and out.count("its date was said by hand") == 2
        (row,) = list_classes(store)
        assert row.start_utc_us == START_US and row.id == run.class_id
        starts = [one.start_utc_us for one in load_class(store, row.id).runs]
        assert starts == [START_US, START_US + 2_000_000]
        for wrong in ("18:00", "soon", f"{when.year + 1}-01-01 10:00"):
            code, out = said(capsys, "class", "newest", "--date", wrong, "--store", place)
            assert code == 2 and out.startswith(f"--date {wrong}")
        said(capsys, "class", "newest", "--date", "logged", "--store", place)
    (row,) = list_classes(store)
    assert row.start_utc_us == START_US + year_us
    assert [one.dated_by for one in load_class(store, row.id).runs] == [None, None]


def test_a_class_without_a_clock_gets_a_date_that_stays(store, data, place, tmp_path, capsys):
    from handbell.store.results.settle import settle_all

    run = collected(store, classes.play(data, start_utc_ms=None).journal, START_US + HOUR_US)
    when = datetime.fromtimestamp(START_US / 1e6)
    word = f"{when:%Y-%m-%d %H:%M:%S}"
    assert said(capsys, "class", str(run.class_id), "--date", word, "--store", place)[0] == 0
    store.doing(lambda conn: settle_all(conn))
    (row,) = list_classes(store)
    assert row.start_utc_us == START_US
    bundle, there = tmp_path / "b.zip", tmp_path / "there.sqlite"
    words = ("export", str(bundle), str(row.id), "--as", "bundle", "--store", place)
    assert said(capsys, *words)[0] == 0
    assert said(capsys, "import", str(bundle), "--store", str(there))[0] == 0
    with open_store(str(there)) as other:
        (row,) = list_classes(other)
        assert row.start_utc_us == START_US
        assert load_class(other, row.id).runs[0].dated_by == "hand"


def test_a_date_by_hand_does_not_change_how_far_boxes_were_apart(store, data, place, capsys):
    from handbell.store.results.skews import skew_of_class

    run = collected(store, classes.play(data).journal, START_US + HOUR_US)
    before = skew_of_class(store, run.class_id)
    when = datetime.fromtimestamp(START_US / 1e6 - 86_400)
    assert said(capsys, "class", "1", "--date", f"{when:%Y-%m-%d %H:%M}", "--store", place)[0] == 0
    assert skew_of_class(store, run.class_id) == before


def test_a_class_that_gets_the_date_of_its_other_half_is_one_with_it(store, data):
    other = classes.timeline(station=2)
    store.put_timeline(other)
    day_us = 24 * HOUR_US
    one = collected(store, classes.play(data).journal, START_US + HOUR_US)
    late = classes.play(other, start_utc_ms=classes.START_UTC_MS + day_us // 1000).journal
    two = collected(store, late, START_US + day_us + HOUR_US, classes.BOX_IDS[1])
    assert two.class_id != one.class_id
    assert set_date(store, two.class_id, START_US + 1_000_000) == one.class_id
    (row,) = list_classes(store)
    assert row.boxes == 2 and row.start_utc_us == START_US


def test_a_box_s_two_classes_stay_two_whatever_their_dates(store, data):
    one = collected(store, classes.play(data).journal, START_US + HOUR_US)
    later = classes.play(data, start_utc_ms=classes.START_UTC_MS + 3_600_000, boot=2).journal
    two = collected(store, later, START_US + 2 * HOUR_US)
    assert set_date(store, two.class_id, START_US) == two.class_id != one.class_id
    assert {row.start_utc_us for row in list_classes(store)} == {START_US}
