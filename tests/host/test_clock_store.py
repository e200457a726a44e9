"""Contacts in the store, and the skew of a class read back from them."""

import sqlite3
import struct
from contextlib import closing
from dataclasses import replace

import classes
import pytest
from alembic import command
from alembic.config import Config

from handbell.base.drift import TEMPERATURE_PPB
from handbell.boxes.clocks.contacts import Contact
from handbell.store import migrate, open_store
from handbell.store.database import tables
from handbell.store.logs.chains import Chain, add_clock, of_run
from handbell.store.results.skews import skew_of_class
from handbell_core import journal as j
from handbell_core.clock import ClockModel

START_US = classes.START_UTC_MS * 1000
MODEL_US = START_US - 20_000_000  # when the made-up boxes' clocks were set
MODEL_BOX_US = 900_000_000
AHEAD_US = 1_789_000_000_000_000
MINUTE_US = 60_000_000


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def contact(box_id: str, gone_us: int, off_us: int = 0, **fields) -> Contact:
    """A contact so long after the clock was set, when the box was ``off_us`` ahead."""
    made = Contact(box_id, 1, MODEL_BOX_US + gone_us + off_us, MODEL_US + gone_us, 200, AHEAD_US)
    return made._replace(**fields)


def with_clock(run: bytes, ppb: int = 0) -> bytes:
    """Give a made-up journal the record of its box's own clock, as boxes write it."""
    own = j.record(j.OWN, 0, 0, 0, struct.pack("<qi", MODEL_BOX_US, ppb))
    utc = j.record(j.UTC, 0, 0, 0, struct.pack("<qI", MODEL_US, 400))
    at = 2 * j.RECORD_SIZE
    return run[:at] + utc + own + run[at + j.RECORD_SIZE :]


def take_in(store, boxes: int = 3, ppb: int = 0) -> tuple[int, list[str]]:
    """Take in a class of some boxes; return its id and the boxes' ids."""
    ids, class_id = [], 0
    for box_id, data, run in classes.make_class(boxes=boxes):
        store.put_timeline(data)
        got = store.ingest(with_clock(run.journal, ppb), box_id, START_US + 40 * MINUTE_US)
        ids.append(box_id)
        class_id = got.class_id
    return class_id, ids


def of_chains(*told, start_us: int = START_US, end_us: int = START_US + 30 * MINUTE_US):
    chains: list[Chain] = []
    for boot, utc_us, box_us, ppb in told:
        add_clock(chains, boot, utc_us, box_us, ppb)
    return chains, of_run(chains, start_us, end_us)


def test_a_box_that_went_on_at_another_rate_is_followed_link_by_link():
    first = ClockModel(MODEL_US, MODEL_BOX_US, 0)
    later_us = MODEL_BOX_US + 5 * MINUTE_US
    second = first.at_rate(later_us, 10_000, 2_000)
    chains, row = of_chains(
        (1, first.utc_us, first.box_us, 0), (1, second.utc_us, second.box_us, 10_000)
    )
    assert len(chains) == 1 and row["origin_box_us"] == MODEL_BOX_US
    assert row["start_box_us"] == first.box_of(START_US)
    assert row["end_box_us"] == second.box_of(START_US + 30 * MINUTE_US)


def test_a_clock_set_anew_before_the_start_is_the_one_that_counts():
    again = (1, MODEL_US + 9_000_000, MODEL_BOX_US + 9_000_400, 0)
    chains, row = of_chains((1, MODEL_US, MODEL_BOX_US, 0), again)
    assert len(chains) == 2
    assert (row["origin_utc_us"], row["origin_box_us"]) == again[1:3]
    assert row["start_box_us"] is not None


def test_a_box_that_lost_power_in_class_has_an_end_and_no_start():
    rejoined = (2, START_US + 10 * MINUTE_US, 4_000_000, 0)
    _, row = of_chains((1, MODEL_US, MODEL_BOX_US, 0), rejoined)
    assert row["boot"] == 2 and row["start_box_us"] is None
    assert row["end_box_us"] == 4_000_000 + 20 * MINUTE_US


def test_without_a_clock_nothing_is_known():
    assert set(of_run([], None, None).values()) == {None}
    assert of_run([], START_US, START_US + 1)["end_box_us"] is None


def test_contacts_come_back_in_order_once_and_since(store):
    some = [contact("b", n * MINUTE_US, what="arm") for n in (3, 1, 2)]
    for made in [*some, *some, contact("other", 0)]:
        store.add_contact(made)
    back = [Contact(*row) for row in store.contacts_of("b", 0)]
    assert back == sorted(some, key=lambda c: c.utc_us)
    assert store.contacts_of("b", MODEL_US + 2 * MINUTE_US) == back[1:]
    assert store.contacts_of("nobody", 0) == []


def test_a_store_of_the_first_version_is_brought_up_and_keeps_its_runs(tmp_path):
    path = tmp_path / "store.sqlite"
    config = Config()
    config.set_main_option("script_location", str(migrate.SCRIPTS))
    config.set_main_option("version_locations", str(migrate.SCRIPTS / "versions"))
    config.set_main_option("path_separator", "newline")
    from sqlalchemy import create_engine

    engine = create_engine(f"sqlite:///{path}")
    with engine.begin() as conn:
        config.attributes["connection"] = conn
        command.upgrade(config, "0001")
        conn.exec_driver_sql("INSERT INTO plans VALUES ('p', 'Old', NULL)")
        conn.exec_driver_sql("INSERT INTO timelines VALUES ('t', 'p', 1, 'S', x'00')")
        conn.exec_driver_sql("INSERT INTO classes VALUES (1, 'p', 5, 'host', 9)")
        conn.exec_driver_sql(
            "INSERT INTO runs VALUES (1, 'd', 't', 'b', 1, 1, 'whole', '', 'ok', 5, 'host', 0, "
            "1000, 0, 0, 0, 3900, 400, 9, x'00')"
        )
    engine.dispose()
    with open_store(str(path)) as store:
        found = skew_of_class(store, 1)
        assert [run.why for run in found.runs] == ["its log does not say which clock it went by"]
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("SELECT version_num FROM alembic_version").fetchone() == (tables.VERSION,)
    (backup,) = tmp_path.glob(f"store-before-{tables.VERSION}-*.sqlite")
    assert backup.exists()


def test_the_skew_at_start_and_end_is_drawn_from_what_was_measured(store):
    class_id, ids = take_in(store)
    gone_us = 40 * MINUTE_US
    for box_id, off_us in zip(ids, (24_000, 0, -12_000), strict=True):
        store.add_contact(contact(box_id, 0))
        store.add_contact(contact(box_id, gone_us, off_us, what="collect"))
    found = skew_of_class(store, class_id)
    assert not found.relative and [run.why for run in found.runs] == ["", "", ""]
    end_us = found_end(store, class_id)
    for run, off_us in zip(found.runs, (24_000, 0, -12_000), strict=True):
        assert run.start_us == pytest.approx(off_us * 20e6 / gone_us, rel=1e-3, abs=2)
        assert run.end_us == pytest.approx(off_us * (end_us - MODEL_US) / gone_us, rel=1e-3, abs=2)
    assert found.start_us == pytest.approx(36_000 * 20e6 / gone_us, abs=3)
    assert found.end_us == pytest.approx(36_000 * (end_us - MODEL_US) / gone_us, abs=5)
    assert found.start_bound_us < 1_000 and found.end_bound_us < 2_500


def found_end(store, class_id: int) -> int:
    from sqlalchemy import select

    with store.reading() as conn:
        ends = conn.scalars(
            select(tables.runs.c.end_utc_us).where(tables.runs.c.class_id == class_id)
        )
        return max(ends)


def test_the_bound_has_both_measurements_and_the_bend_in_it(store):
    class_id, ids = take_in(store, boxes=1)
    gone_us = 40 * MINUTE_US
    store.add_contact(contact(ids[0], 0))
    store.add_contact(contact(ids[0], gone_us, bound_us=900))
    (run,) = skew_of_class(store, class_id).runs
    after_us = found_end(store, class_id) - MODEL_US
    share = after_us / gone_us
    bend_us = TEMPERATURE_PPB / 1e9 * after_us * (1 - share)
    assert run.end_bound_us == pytest.approx(400 * (1 - share) + 900 * share + bend_us, abs=2)


def test_the_rate_that_a_box_went_by_is_reckoned_with(store):
    class_id, ids = take_in(store, boxes=1, ppb=-20_000)
    gone_us = 40 * MINUTE_US
    store.add_contact(contact(ids[0], 0))
    store.add_contact(contact(ids[0], gone_us, off_us=gone_us * 20 // 1_000_000))
    (run,) = skew_of_class(store, class_id).runs
    assert abs(run.end_us) <= 2


def test_the_first_contact_after_the_class_counts_not_a_later_one(store):
    class_id, ids = take_in(store, boxes=1)
    store.add_contact(contact(ids[0], 0))
    store.add_contact(contact(ids[0], 40 * MINUTE_US, 4_000))
    store.add_contact(contact(ids[0], 600 * MINUTE_US, -90_000))
    store.add_contact(contact(ids[0], 1 * MINUTE_US, 77_000))  # in the class: too early
    (run,) = skew_of_class(store, class_id).runs
    share = (found_end(store, class_id) - MODEL_US) / (40 * MINUTE_US)
    assert run.end_us == pytest.approx(4_000 * share, abs=2)


def test_a_box_that_was_restarted_says_so_and_others_still_count(store):
    class_id, ids = take_in(store)
    for box_id in ids:
        store.add_contact(contact(box_id, 0))
    gone_us = 40 * MINUTE_US
    store.add_contact(contact(ids[0], gone_us, 8_000))
    store.add_contact(contact(ids[1], gone_us, 1_000))
    store.add_contact(contact(ids[2], gone_us)._replace(boot=2, box_us=3_000_000))
    found = skew_of_class(store, class_id)
    assert [bool(run.why) for run in found.runs] == [False, False, True]
    assert "switched off after the class" in found.runs[2].why
    assert found.end_us is not None and 0 < found.end_us < 7_000


def test_a_box_never_met_again_and_a_single_box_have_no_skew(store):
    class_id, ids = take_in(store)
    store.add_contact(contact(ids[0], 0))
    store.add_contact(contact(ids[0], 40 * MINUTE_US, 5_000))
    found = skew_of_class(store, class_id)
    assert found.runs[1].why == "its clock was not measured after the class"
    assert found.start_us is None and found.end_us is None
    assert found.runs[0].end_us != 0


def test_a_box_without_a_clock_says_so(store):
    for box_id, data, _ in classes.make_class(boxes=1):
        store.put_timeline(data)
        run = classes.play(data, start_utc_ms=None)
        got = store.ingest(run.journal, box_id, START_US)
    found = skew_of_class(store, got.class_id)
    assert [run.why for run in found.runs] == ["it had lost its clock"]


@pytest.mark.parametrize("move_us", [3_600_000_000, -3_600_000_000])
def test_a_computer_whose_clock_moved_tells_only_differences(store, move_us):
    class_id, ids = take_in(store)
    gone_us = 40 * MINUTE_US
    for box_id, off_us in zip(ids, (9_000, 0, -3_000), strict=True):
        store.add_contact(contact(box_id, 0))
        late = contact(box_id, gone_us, off_us)
        moved = {"utc_us": late.utc_us + move_us, "ahead_us": AHEAD_US + move_us}
        store.add_contact(late._replace(**moved))
    found = skew_of_class(store, class_id)
    assert found.relative
    share = (found_end(store, class_id) - MODEL_US) / gone_us
    assert [run.end_us for run in found.runs] == pytest.approx(
        [9_000 * share, 0, -3_000 * share], abs=12
    )
    assert found.end_us == pytest.approx(12_000 * share, abs=20)


def test_a_clock_moved_between_two_boxes_is_not_taken_for_skew(store):
    class_id, ids = take_in(store)
    for n, box_id in enumerate(ids):
        store.add_contact(contact(box_id, 0))
        late = contact(box_id, 40 * MINUTE_US, 1_000 * n)
        if n == 2:
            late = late._replace(utc_us=late.utc_us + 5_000_000, ahead_us=AHEAD_US + 5_000_000)
        store.add_contact(late)
    found = skew_of_class(store, class_id)
    assert "changed between the boxes" in found.runs[2].why
    assert found.end_us is not None and found.end_us < 1_500


def test_another_computer_that_collects_tells_only_differences(store):
    class_id, ids = take_in(store)
    for n, box_id in enumerate(ids):  # the contact at which it was set is in another store
        store.add_contact(contact(box_id, 40 * MINUTE_US, 200_000 + 1_000 * n))
    found = skew_of_class(store, class_id)
    assert found.relative and found.end_us < 2_100
    assert [run.why for run in found.runs] == ["", "", ""]
    assert replace(found.runs[1], end_us=0) == found.runs[1]
