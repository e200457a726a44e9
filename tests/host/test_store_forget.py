"""Forgetting: afterwards a name stands nowhere in the store, byte for byte, nor in its backups."""

import shutil
import sqlite3
from contextlib import closing

import classes
import pytest
from sqlalchemy import Text, select

from handbell.base.errors import UsageError
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.stations import StationMap
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.database import connect, tables
from handbell.store.database.backups import backups_of
from handbell.store.logs.timelines import decode
from handbell.store.people import forget as forgetting
from handbell.store.people.forget import forget
from handbell.store.people.redact import without_name, without_name_in_timeline
from handbell.store.people.roster import Athlete, athletes, merge, wear_as_usual
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_name, settle_name, undo
from handbell.store.results.queries import load_class
from handbell.work.after.forget import forget_person
from handbell_core import journal as j

pytest_plugins = ["store_fixtures"]


@pytest.fixture(autouse=True)
def names_as_earlier_versions_took_them(monkeypatch):
    """Two bibs of one name, which are refused now: old stores hold them, and all of it must go."""
    monkeypatch.setattr("handbell.store.results.amend.check_names", lambda *_: None)


NAME = "Zoë Quill-Ödön"
MARK = b"Quill-"  # every part of the name that no encoding changes
PLAN = 'title = "Zoë Quill-Ödön\'s last class"\n'.encode()


def filled(store):
    data = classes.timeline(
        bibs=(7, 8), plan=PLAN, title="Zoë Quill-Ödön's last class", who="zoë quill-ödön"
    )
    store.put_timeline(data)
    run = classes.play(data, [classes.Press(11_000)])
    store.ingest(run.journal, classes.BOX_IDS[0], 10**15)
    store.put_plan(PLAN, "Zoë Quill-Ödön's last class")
    store.seen_box(classes.BOX_IDS[0], "Zoe Quill-Odon's box", 1, 5)
    merge(store, [Athlete(NAME, 7, f"Friends of {NAME}"), Athlete("Otto Quillon", 8)])
    set_wearers(store, 1, {7: "Otto Quillon", 8: NAME})
    amend_name(
        store, load_class(store, 1), 7, Change("name", NAME.upper(), NAME, f"it was {NAME}", 5)
    )
    done = amend_name(store, load_class(store, 1), 8, Change("name", "Ada", "C", "w", 6))[0]
    undo(store, load_class(store, 1), done.digest, f"{NAME} herself", 7)


def texts(store):
    """Every text of every table."""
    with store.reading() as conn:
        return [
            str(value)
            for table in tables.metadata.sorted_tables
            for column in table.columns
            if isinstance(column.type, Text)
            for value in conn.scalars(select(column))
        ] + [str(d) for d in conn.scalars(select(tables.timelines.c.data))]


def keeper_is_asked(store):
    """A coach's login may not write a server's files anew, and is told who may."""
    return store.engine.dialect.name == "postgresql"


def test_no_row_and_no_timeline_holds_the_name_afterwards(store):
    filled(store)
    assert any("Quill-" in text for text in texts(store))
    looked = forget(store, NAME, dry_run=True)
    assert any("Quill-" in text for text in texts(store)), "a dry run writes nothing"
    done = forget(store, NAME)
    assert done.rows == looked.rows and len(done.warnings) == keeper_is_asked(store)
    assert not [t for t in texts(store) if "quill-" in t.casefold()]
    assert athletes(store) == [Athlete("Otto Quillon", 8)]
    record = load_class(store, 1)
    assert {b: w.name for b, w in record.wearers.items()} == {7: None, 8: None}
    assert record.row.title == "(name removed)'s last class"
    assert forget(store, NAME).rows == {}


def test_what_was_counted_still_reads_and_logs_still_come_in(store):
    filled(store)
    before = load_class(store, 1)
    forget(store, NAME)
    after = load_class(store, 1)
    assert after.results == before.results
    assert after.runs[0].timeline.digest == before.runs[0].timeline.digest
    windows = after.runs[0].timeline.windows
    assert {w.who for w in windows.values()} == {"--------------"}
    assert [w.name for w in windows.values()] == [
        w.name for w in before.runs[0].timeline.windows.values()
    ]
    data = classes.timeline(
        bibs=(7, 8), plan=PLAN, title="Zoë Quill-Ödön's last class", who="zoë quill-ödön"
    )
    store.put_timeline(data)
    store.put_plan(PLAN, "Zoë Quill-Ödön's last class")
    later = classes.play(data, [classes.Press(12_000)], classes.START_UTC_MS + 86_400_000)
    assert store.ingest(later.journal, classes.BOX_IDS[0], 2 * 10**15).mismatches == []
    assert not [t for t in texts(store) if "quill-" in t.casefold()], "sent again, still gone"


def test_no_byte_of_the_name_stays_in_the_files_or_the_backups(tmp_path):
    path = tmp_path / "data" / "store.sqlite"
    with open_store(str(path)) as store:
        filled(store)
        # An update and a deletion leave the old bytes in free pages of an ordinary file.
        set_wearers(store, 1, {8: "x" * 80})
    backup = path.with_name("store-before-0004-2026-09-21.sqlite")
    shutil.copy(path, backup)
    old = path.with_name("store-before-0002-2025-09-21.sqlite")
    with closing(sqlite3.connect(old)) as db, db:
        db.execute("CREATE TABLE wearers (class_id, bib, name TEXT, absent)")
        db.execute("CREATE TABLE taps (run INTEGER PRIMARY KEY, kind VARCHAR(8)) WITHOUT ROWID")
        db.execute("INSERT INTO wearers VALUES (1, 7, ?, 0)", (NAME,))
    files = lambda: {p.name: p.read_bytes() for p in path.parent.iterdir()}  # noqa: E731
    assert all(MARK in data for data in files().values())
    with open_store(str(path)) as store:
        done = forget_person(NAME, store_at=str(path))
        assert done.backups == (str(old), str(backup)) and done.warnings == ()
        assert not [name for name, data in files().items() if MARK.lower() in data.lower()]
    assert not [name for name, data in files().items() if MARK.lower() in data.lower()]
    assert sorted(files()) == sorted({path.name, backup.name, old.name})
    assert backups_of(path) == [old, backup]
    with closing(sqlite3.connect(backup)) as db:
        assert db.execute("SELECT count(*) FROM taps").fetchone()[0] == 1


def test_in_a_backup_too_a_forgotten_name_before_an_amended_one_is_nobody_s(tmp_path):
    path = tmp_path / "store.sqlite"
    with open_store(str(path)) as store:
        filled(store)
    backup = path.with_name("store-before-0004-2026-09-21.sqlite")
    shutil.copy(path, backup)
    forget_person("Otto Quillon", store_at=str(path))
    for each in (path, backup):
        with closing(sqlite3.connect(each)) as db:
            wanted = db.execute("SELECT said FROM wearers WHERE bib = 7").fetchall()
        assert wanted == [("",)], "NULL would be a bib of which nobody spoke"


def test_a_backup_that_can_not_be_cleaned_is_named(tmp_path):
    path = tmp_path / "store.sqlite"
    open_store(str(path)).close()
    broken = path.with_name("store-before-0002-2025-09-21.sqlite")
    broken.write_bytes(b"no database" * 1000)
    done = forget_person(NAME, store_at=str(path))
    assert done.warnings == (
        f"The backup {broken} could not be cleaned (file is not a database): delete it.",
    )


def test_the_forgotten_ones_results_are_nobodys(store, place, capsys):
    data = classes.timeline(bibs=(7, 8))
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    merge(store, [Athlete("Mina", 7), Athlete("Ada", 8)])
    set_wearers(store, 1, {7: "Mina", 8: "Otto"})
    amend_name(store, load_class(store, 1), 7, Change("name", "Otto", "C", "wore hers", 5))
    forget(store, "Otto")

    def names():
        return {b: w.name for b, w in load_class(store, 1).wearers.items()}

    assert names() == {7: None, 8: None}
    wear_as_usual(store, 1)
    assert names() == {7: None, 8: None}, "who usually wears the bib did not wear it here"
    assert main(["amend", "newest", "--store", place]) == 0
    assert "bib 7: worn by nobody, was Mina" in capsys.readouterr().out
    assert main(["report", "--store", place]) == 0
    assert "Bib 7 was worn by nobody known, not by Mina" in capsys.readouterr().out
    settle_name_again(store)
    assert names() == {7: None, 8: None}
    set_wearers(store, 1, {8: "Zoë"})
    assert names()[8] == "Zoë", "the coach may say it anew"


def settle_name_again(store):
    with store.writing() as conn:
        settle_name(conn, 1, 7)


def test_a_forgotten_name_that_was_amended_over_stays_away_when_that_is_undone(store):
    data = classes.timeline(bibs=(7, 8))
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    set_wearers(store, 1, {7: "Mina"})
    amend_name(store, load_class(store, 1), 7, Change("name", "Otto", "C", "w", 5))
    (ada,) = amend_name(store, load_class(store, 1), 7, Change("name", "Ada", "C", "w", 6))
    forget(store, "Otto")
    assert load_class(store, 1).wearers[7].name == "Ada"
    undo(store, load_class(store, 1), ada.digest, "C", 7)
    assert load_class(store, 1).wearers[7].name is None


def test_an_unnamed_bib_stays_nobodys_when_the_amendment_is_undone(store):
    data = classes.timeline(bibs=(7, 8))
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    merge(store, [Athlete("Zoë", 7)])
    set_wearers(store, 1, {7: "Mina"})
    (made,) = amend_name(store, load_class(store, 1), 7, Change("name", "Otto", "C", "w", 5))
    for name in ("Otto", "Mina"):
        forget(store, name)
    undo(store, load_class(store, 1), made.digest, "C", 6)
    wear_as_usual(store, 1)
    assert load_class(store, 1).wearers[7].name is None


def test_a_shorter_name_leaves_longer_ones_alone():
    assert without_name("Anna, Ann and ANN", "Ann") == "Anna, (name removed) and (name removed)"
    assert without_name("Anna", "Ann") is None
    assert without_name("Jörg\n  Ström", "jörg ström") == "(name removed)"
    assert without_name("Jorg Strom's lane", "Jörg Ström") == "(name removed)'s lane"
    assert without_name("a.b", "a+b") is None


def test_a_timeline_without_the_name_is_not_touched():
    data = classes.timeline(who="Lane A")
    assert without_name_in_timeline(data, "Mina") is None
    changed = without_name_in_timeline(data, "lane a")
    assert len(changed) == len(data)
    assert decode(changed).windows[1].who == "------"
    assert decode(changed).total_ms == decode(data).total_ms
    assert j.parse(b"") == ([], 0)


def test_plans_may_be_kept_where_a_name_is_an_exercise(store):
    data = classes.timeline(((classes.Piece("Jumping Jack"),),), (7,), title="Jack")
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    set_wearers(store, 1, {7: "Jack"})
    forget(store, "Jack", keep_plans=True)
    record = load_class(store, 1)
    assert [w.name for w in record.wearers.values()] == [None]
    assert record.runs[0].timeline.windows[1].name == "Jumping Jack"


def test_no_name_is_refused(store):
    for name in ("", "\u202e", "Z"):
        with pytest.raises(UsageError, match="no name to look for"):
            forget(store, name)


def test_the_files_beside_the_store_lose_the_name_too(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path))
    stations = StationMap()
    stations.place(1, "box1", f"{NAME}'s corner")
    stations.place(2, "box2", "By the door")
    stations.save()
    Session(0).keep(LoadedClass.of(f"{NAME} leaves", {1: "aa"}, {1: "box1"}))
    own = tmp_path / "exercises.toml"
    own.write_text(f"# as {NAME} does them\n", encoding="utf-8")
    before = {p.name: p.read_bytes() for p in tmp_path.glob("*.json")}
    assert main(["forget", NAME, "--dry-run"]) == 1, "a file that it can't clean"
    assert {p.name: p.read_bytes() for p in tmp_path.glob("*.json")} == before
    assert main(["forget", NAME, "--yes"]) == 1
    said = capsys.readouterr().out
    assert "stations.json" in said and "class.json" in said
    assert f"The name stands in {own}: take it out yourself." in said
    assert {n: s.label for n, s in StationMap().stations.items()} == {
        1: "(name removed)'s corner",
        2: "By the door",
    }
    assert Session(0).last() == LoadedClass.of("(name removed) leaves", {1: "aa"}, {1: "box1"})
    own.unlink()
    assert main(["forget", NAME, "--yes"]) == 0
    assert "no row." in capsys.readouterr().out


def test_what_killed_commands_left_half_written_goes_too(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path))
    monkeypatch.delenv("HANDBELL_STORE")
    with open_store() as store:
        merge(store, [Athlete(NAME, 7)])
    left = [".stations.json.0a1b2c3d", "stations.json.tmp", ".store-before-x.sqlite.00112233"]
    left.append("store-before-0005-2026-09-21.sqlite.part")
    left.append("store-before-0005-2026-09-21-2.sqlite.part")
    left += ["store-before-delete-2026-09-21.sqlite.part", "store-backup-2026-09-21.sqlite.part"]
    left.append(".store-before-x.sqlite.00112233-journal")
    for name in left:
        (tmp_path / name).write_text(f'{{"1": "{NAME}"', encoding="utf-8")
    (tmp_path / left[2]).write_bytes(b"SQLite format 3\0 of which only half is there")
    # SQLite file format, section 3: how a rollback journal begins; pages in it may split a name.
    (tmp_path / left[-1]).write_bytes(bytes.fromhex("d9d505f920a163d7") + b"a part of a page")
    own = [".stations.json.00000000", ".notes.0a1b2c3", "own.json.tmp"]
    for name in own:
        (tmp_path / name).write_text("Ada" if name.startswith(".s") else NAME, encoding="utf-8")
    assert main(["forget", NAME, "--dry-run"]) == 0
    assert all((tmp_path / name).exists() for name in left)
    assert main(["forget", NAME, "--yes"]) == 0
    assert all(str(tmp_path / name) in capsys.readouterr().out for name in left[:1])
    assert not [name for name in left if (tmp_path / name).exists()]
    assert all((tmp_path / name).exists() for name in own), "another's, or without the name"


def test_a_store_that_can_not_be_swept_does_not_break_forget_off(tmp_path, monkeypatch, capsys):
    """Another program begins to write between the name's going and the sweep."""
    path = tmp_path / "store.sqlite"
    monkeypatch.setenv("HANDBELL_STORE", str(path))
    monkeypatch.setattr(connect, "BUSY_MS", 50)
    with open_store() as store:
        merge(store, [Athlete(NAME, 7)])
    StationMap().save()
    stations = StationMap()
    stations.place(1, "box1", f"{NAME}'s corner")
    stations.save()
    assert main(["store", "backup"]) == 0
    sweep = forgetting._sweep
    with closing(sqlite3.connect(path, isolation_level=None)) as other:

        def held(store, found):
            other.execute("BEGIN IMMEDIATE")
            sweep(store, found)

        monkeypatch.setattr(forgetting, "_sweep", held)
        capsys.readouterr()
        assert main(["forget", NAME, "--yes"]) == 1
    said = capsys.readouterr().out
    assert "Run forget again when nothing else uses the store" in said
    assert "backups: " in said and "stations.json" in said, "all else is done"
    assert StationMap().stations[1].label == "(name removed)'s corner"


def test_the_command_asks_and_says_what_is_out_of_reach(store, place, capsys):
    filled(store)
    assert main(["forget", NAME, "--store", place]) == 2
    assert "nobody is here to ask" in capsys.readouterr().err
    assert load_class(store, 1).wearers[7].name == NAME
    assert main(["forget", NAME, "--dry-run", "--store", place]) == 0
    assert "Found: athletes 1" in capsys.readouterr().out
    assert main(["forget", NAME, "--yes", "--store", place]) == keeper_is_asked(store)
    said = capsys.readouterr().out
    assert "Forgotten: athletes" in said and "exports written before are out of reach" in said
