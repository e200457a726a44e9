"""Backups of the store: made before what can't be undone, checked, put back, found by forget."""

import json
import os
import shutil
import sqlite3
import stat
from contextlib import closing
from pathlib import Path

import classes
import pytest
from older import BACK_TO_0005

from handbell.base.errors import StoreError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.database import backups, connect, look
from handbell.store.people.roster import Athlete, athletes, merge
from handbell.store.people.wearers import set_wearers
from handbell.store.results.checking import check_counts
from handbell.store.results.queries import list_classes, load_class
from handbell.work.trying.doctor import checkup

NAME = "Zoe Quill"


@pytest.fixture
def path(tmp_path, monkeypatch):
    place = tmp_path / "club" / "store.sqlite"
    monkeypatch.setenv("HANDBELL_STORE", str(place))
    with open_store() as store:
        for box_id, data, run in classes.make_class(boxes=2):
            store.put_timeline(data)
            store.ingest(run.journal, box_id, 10**15)
        set_wearers(store, 1, {1: NAME})
    return place


def told(capsys, *words):
    code = main([*map(str, words), "--json"])
    return code, json.loads(capsys.readouterr().out)


def names_in(path):
    with open_store(str(path)) as store:
        return {b: w.name for b, w in load_class(store, 1).wearers.items()}


def change(path, *lines):
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        for line in lines:
            db.execute(line)


def test_a_sound_store_is_counted_again_and_not_changed(path, capsys):
    before = path.read_bytes()
    code, said = told(capsys, "store", "check")
    assert code == 0 and path.read_bytes() == before
    assert (said["data"]["classes"], said["data"]["logs"]) == (1, 2)
    assert main(["store", "check"]) == 0
    assert "is sound. 1 class, 2 logs, all counted again." in (out := capsys.readouterr().out)
    assert "No backup lies beside it." in out
    assert main(["store", "backup"]) == 0 and main(["store", "check"]) == 0
    assert "Its backups here:\n  " in capsys.readouterr().out


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("UPDATE results SET reps = reps + 1 WHERE run = 1", "results"),
        ("DELETE FROM taps WHERE run = 1", "taps"),
        ("UPDATE sums SET bib = bib + 9 WHERE run = 1", "sums"),
        ("INSERT OR REPLACE INTO ratings VALUES (1, 1, 11)", "ratings"),
        ("UPDATE tasks SET goal = 77 WHERE bib = 1", "tasks"),
        (
            "UPDATE runs SET journal = CAST(x'00' || journal AS BLOB) WHERE id = 1",
            "its bytes are others",
        ),
    ],
)
def test_what_is_counted_otherwise_is_named_and_stays_as_it_is(path, capsys, line, what):
    change(path, line)
    with open_store() as store:
        assert {one.what for one in check_counts(store)} == {what}
        assert {one.what for one in check_counts(store)} == {what}, "nothing is mended by looking"
    code, said = told(capsys, "store", "check")
    assert code == 1 and [one["what"] for one in said["data"]["differ"]] == [what]


def test_amended_counts_agree_with_what_was_said_of_them(path, capsys):
    words = ["--bib", "1", "--exercise", "Ring rows", "--round", "1", "--why", "saw it"]
    assert main(["amend", "1", *words, "--reps", "3"]) == 0
    assert main(["amend", "1", "--bib", "2", "--to-bib", "1", "--why", "changed places"]) == 0
    assert main(["store", "check"]) == 0, capsys.readouterr()


def test_a_damaged_store_is_told_and_its_backups_are_listed(path, capsys):
    assert main(["store", "backup"]) == 0
    capsys.readouterr()
    data = bytearray(path.read_bytes())
    for at in range(4096, len(data), 4096):
        data[at : at + 64] = b"\xff" * 64
    path.write_bytes(data)
    code, said = told(capsys, "store", "check")
    assert code == 1 and said["data"]["damage"] and len(said["data"]["backups"]) == 1
    assert main(["store", "check"]) == 1
    out = capsys.readouterr().out
    assert "is damaged" in out and said["data"]["backups"][0] in out
    assert main(["store", "restore", said["data"]["backups"][0]]) == 0
    assert names_in(path) == {1: NAME}


# SQLite's words for its result codes SQLITE_FULL, IOERR, BUSY, LOCKED, CANTOPEN, PERM, READONLY
# (sqlite.org/rescode.html); and what a coach is told.
IN_THE_WAY = [
    ("database or disk is full", "disk is full", "Free some room"),
    ("disk I/O error", "does not answer as it should", "plugged in"),
    ("database is locked", "is busy", "Wait"),
    ("database table is locked: runs", "is busy", "Wait"),
    ("unable to open database file", "can't be opened", "See who may"),
    ("access permission denied", "can't be opened", "See who may"),
    ("attempt to write a readonly database", "may only be read", "See who may"),
]


class Failing:
    """A connection on which whatever is asked fails."""

    def __init__(self, error):
        self.error = error

    def execute(self, _):
        raise self.error

    def close(self):
        pass


@pytest.mark.parametrize(("words", "what", "remedy"), IN_THE_WAY)
def test_what_is_in_the_way_of_a_check_is_no_damage(
    path, tmp_path, monkeypatch, capsys, words, what, remedy
):
    _, made = told(capsys, "store", "backup")
    error = sqlite3.OperationalError(words)
    monkeypatch.setattr(backups, "_opened", lambda _: Failing(error))
    for asked in (("check",), ("restore", made["data"]["backup"])):
        code, said = told(capsys, "store", *asked)
        assert code == 1 and what in said["error"]["what"], said
        assert remedy in said["error"]["remedy"]
        assert "damaged" not in str(said) and "back" not in said["error"]["remedy"]
    monkeypatch.setattr(sqlite3, "connect", lambda *_, **__: Failing(error))
    (one,) = [f for f in checkup(str(path)).findings if f.what == "store"]
    assert one.fine is False and what in one.says and remedy in one.remedy
    assert "damaged" not in one.says and "back" not in one.remedy
    assert not connect._is_damaged(str(path))
    monkeypatch.setattr(look, "STORE_MARK", 1)  # so that it is known by its tables
    path.write_bytes(path.read_bytes()[:68] + bytes(4) + path.read_bytes()[72:])
    with pytest.raises(StoreError) as raised:
        look.is_store(path)
    assert what in raised.value.what and not isinstance(raised.value, look.DamagedError)


@pytest.mark.parametrize(("code", "sound"), [(10, True), (266, True), (11, False)])
def test_a_page_that_the_disk_does_not_give_is_no_damage(path, monkeypatch, capsys, code, sound):
    """SQLite's integrity check lists it among its findings, with its result code (btree.c)."""
    row = f"Tree 2 page 3: unable to get the page. error code={code}"
    failing = Failing(None)
    monkeypatch.setattr(failing, "execute", lambda asked: Rows([(row,)] if "int" in asked else []))
    monkeypatch.setattr(backups, "_opened", lambda _: failing)
    result, said = told(capsys, "store", "check")
    assert result == 1 and ("error" in said) == sound
    assert sound or said["data"]["damage"] == [row]
    monkeypatch.setattr(failing, "execute", lambda _: Rows([(row,)]))
    monkeypatch.setattr(sqlite3, "connect", lambda *_, **__: failing)
    assert connect._is_damaged(str(path)) != sound
    (one,) = [f for f in checkup(str(path)).findings if f.what == "store"]
    assert one.fine is False and ("damaged" in one.says) != sound


class Rows(list):
    """What was found, as a cursor gives it."""

    def fetchall(self):
        return self

    def fetchone(self):
        return self[0]


@pytest.mark.parametrize("words", ["database disk image is malformed", "file is not a database"])
def test_what_sqlite_calls_damage_is_told_as_damage(path, monkeypatch, capsys, words):
    failing = Failing(sqlite3.DatabaseError(words))
    monkeypatch.setattr(backups, "_opened", lambda _: failing)
    code, said = told(capsys, "store", "check")
    assert code == 1 and said["data"]["damage"] == [words]


def test_a_store_that_may_not_be_read_is_not_called_damaged(path, monkeypatch):
    def refused(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refused)
    (one,) = [f for f in checkup(str(path)).findings if f.what == "store"]
    assert "can't be read" in one.says and "back" not in one.remedy


def test_a_backup_is_whole_and_never_written_over(path, tmp_path, capsys):
    with open_store() as store:  # so that something is still written ahead
        set_wearers(store, 1, {2: "Otto"})
        _, first = told(capsys, "store", "backup")
        _, second = told(capsys, "store", "backup")
    copies = [backups.backups_of(path)[n] for n in (0, 1)]
    assert {first["data"]["backup"], second["data"]["backup"]} == set(map(str, copies))
    for copy in copies:
        assert names_in(copy) == {1: NAME, 2: "Otto"}
        assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    code, said = told(capsys, "store", "backup", copies[0])
    assert code == 1 and "is there already" in said["error"]["what"]
    (tmp_path / "stick").mkdir()
    _, said = told(capsys, "store", "backup", tmp_path / "stick")
    assert names_in(said["data"]["backup"]) == {1: NAME, 2: "Otto"}
    assert not list(path.parent.glob(".*")), "nothing half written is left"


def test_a_backup_is_put_back_and_what_was_there_is_kept(path, capsys):
    _, made = told(capsys, "store", "backup")
    set_aside = made["data"]["backup"]
    assert main(["bibs", "1", "1=Otto"]) == 0
    path.chmod(0o640)
    capsys.readouterr()
    code, said = told(capsys, "store", "restore", set_aside)
    assert code == 0 and said["data"]["classes"] == 1
    assert names_in(path) == {1: NAME} and names_in(said["data"]["kept"]) == {1: "Otto"}
    assert names_in(set_aside) == {1: NAME}
    assert main(["store", "restore", said["data"]["kept"]]) == 0
    assert names_in(path) == {1: "Otto"}


def test_a_store_that_is_gone_comes_back(path, capsys):
    _, made = told(capsys, "store", "backup")
    path.unlink()
    code, said = told(capsys, "store", "restore", made["data"]["backup"])
    assert code == 0 and said["data"]["kept"] is None and names_in(path) == {1: NAME}


def test_an_older_store_is_checked_and_copied_as_it_is(path, capsys):
    change(
        path,
        *BACK_TO_0005,
        "UPDATE alembic_version SET version_num='0005'",
    )
    change(path, "PRAGMA journal_mode = DELETE")
    before = path.read_bytes()
    code, said = told(capsys, "store", "check")
    assert code == 0 and said["data"]["store"] == str(path), said
    assert (said["data"]["classes"], said["data"]["logs"]) == (1, 2)
    assert path.read_bytes() == before and list(path.parent.iterdir()) == [path]
    code, said = told(capsys, "store", "backup")
    assert code == 0 and path.read_bytes() == before
    (copy,) = backups.backups_of(path)
    assert said["data"]["backup"] == str(copy) and set(path.parent.iterdir()) == {path, copy}
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("SELECT version_num FROM alembic_version").fetchone() == ("0005",)


def test_what_is_no_store_is_never_put_back(path, tmp_path, capsys):
    before = path.read_bytes()
    plan, songs = tmp_path / "plan.toml", tmp_path / "songs.sqlite"
    plan.write_text("title = 1")
    change(songs, "CREATE TABLE songs (name)")
    newer, damaged = tmp_path / "newer.sqlite", tmp_path / "damaged.sqlite"
    shutil.copy(path, newer)
    change(newer, "UPDATE alembic_version SET version_num = '9999'")
    data = bytearray(path.read_bytes())
    data[4096:8192] = b"\xff" * 4096
    damaged.write_bytes(data)
    for other in (plan, songs, newer, damaged, tmp_path / "none.sqlite", path):
        code, said = told(capsys, "store", "restore", other)
        assert code == 1 and said["error"]["what"], other
        assert path.read_bytes() == before
    assert main(["store", "restore"]) == 2


def test_a_store_that_is_in_use_is_not_replaced(path, capsys):
    _, made = told(capsys, "store", "backup")
    with open_store() as store, store.reading() as conn:
        conn.exec_driver_sql("SELECT 1 FROM plans").fetchall()
        code, said = told(capsys, "store", "restore", made["data"]["backup"])
        assert code == 1 and "is in use" in said["error"]["what"]
    assert names_in(path) == {1: NAME}


def test_another_programs_database_is_not_moved_by_a_restore(path, tmp_path, capsys):
    _, made = told(capsys, "store", "backup")
    songs = tmp_path / "songs.sqlite"
    change(songs, "CREATE TABLE songs (name)")
    before = songs.read_bytes()
    backup = made["data"]["backup"]
    assert main(["store", "restore", backup, "--store", str(songs)]) == 1
    assert songs.read_bytes() == before and list(tmp_path.glob("songs*")) == [songs]


def test_a_copy_is_made_before_what_can_not_be_undone(path, tmp_path, capsys):
    with open_store() as store:
        merge(store, [Athlete("Otto", 2)])
    roster = tmp_path / "r.csv"
    roster.write_text("name,bib\nAda,3\n")
    assert main(["roster", str(roster)]) == 0
    assert main(["roster", str(roster), "--replace", "--dry-run"]) == 0
    assert backups.backups_of(path) == []
    _, said = told(capsys, "roster", roster, "--replace") if capsys.readouterr() else None
    with open_store(said["data"]["backup"]) as store:
        assert [a.name for a in athletes(store)] == ["Otto", "Ada"]
    assert main(["export", str(tmp_path / "all.zip")]) == 0
    capsys.readouterr()
    _, said = told(capsys, "import", tmp_path / "all.zip")
    assert "store-before-import-" in said["data"]["backup"]
    _, said = told(capsys, "class", "1", "--delete", "--yes")
    with open_store(said["data"]["backup"]) as store:
        assert len(list_classes(store)) == 1
    with open_store() as store:
        assert list_classes(store) == []
    assert main(["import", str(tmp_path / "all.zip"), "--store", str(tmp_path / "new.sqlite")]) == 0
    assert "kept in" not in capsys.readouterr().out, "nothing was in it"


def test_forget_finds_a_backup_wherever_it_was_written(path, tmp_path, capsys):
    stick = tmp_path / "stick"
    stick.mkdir()
    _, made = told(capsys, "store", "backup", stick)
    _, beside = told(capsys, "store", "backup")
    copy = made["data"]["backup"]
    code, said = told(capsys, "forget", NAME, "--yes")
    assert code == 0 and set(said["data"]["backups"]) == {copy, beside["data"]["backup"]}
    assert names_in(copy) == {1: None}
    stick.rename(tmp_path / "away")
    for _ in range(2):
        code, said = told(capsys, "forget", NAME, "--yes")
        assert code == 1 and "can't be reached" in said["data"]["warnings"][0]
    (tmp_path / "away").rename(stick)
    assert main(["forget", NAME, "--yes"]) == 0
    (stick / copy.rpartition("/")[2]).unlink()
    capsys.readouterr()
    stick.rmdir()
    stick.mkdir()  # an empty folder may stand where a stick is plugged in at other times
    with open_store() as store:
        set_wearers(store, 1, {2: "Otto"})
    for _ in range(2):
        code, said = told(capsys, "forget", "Otto", "--yes")
        assert code == 1 and "is not there now" in said["data"]["warnings"][0]
    with open_store(copy) as store:  # it is back
        store.put_plan(b"x", "For Otto")
    code, said = told(capsys, "forget", "Otto", "--yes")
    assert code == 0 and said["data"]["backups"] == [copy]


def test_a_backup_that_was_deleted_is_struck_off_by_word(path, tmp_path, capsys):
    stick = tmp_path / "stick"
    stick.mkdir()
    copies = [told(capsys, "store", "backup", stick)[1]["data"]["backup"] for _ in range(2)]
    code, said = told(capsys, "store", "gone", copies[0])
    assert code == 1 and "is still there" in said["error"]["what"]
    code, said = told(capsys, "store", "gone", tmp_path / "other.sqlite")
    assert code == 1 and "is no backup" in said["error"]["what"]
    assert main(["store", "gone"]) == 2
    capsys.readouterr()
    (stick / copies[0].rpartition("/")[2]).unlink()
    _, said = told(capsys, "store", "check")
    assert (said["data"]["elsewhere"], said["data"]["gone"]) == (copies, copies[:1])
    assert main(["store", "check"]) == 0
    assert f"{copies[0]} (not there now)\n  {copies[1]}\n" in capsys.readouterr().out
    _, said = told(capsys, "forget", NAME, "--yes")
    assert f"{copies[0]} is not there now" in said["data"]["warnings"][0]
    assert "handbell store gone FILE" in said["data"]["warnings"][0]
    assert told(capsys, "store", "gone", copies[0])[0] == 0
    code, said = told(capsys, "forget", NAME, "--yes")
    assert code == 0 and backups.elsewhere(path) == [Path(copies[1])]


@pytest.mark.parametrize("junk", ["[]", '{"x": 1}', '{"x": [1]}', "scribble", "[" * 9999])
def test_a_list_of_backups_that_is_junk_is_told_and_kept(path, tmp_path, capsys, junk):
    backups._list().parent.mkdir(exist_ok=True)
    backups._list().write_text(junk)
    stick = tmp_path / "stick"
    stick.mkdir()
    assert told(capsys, "store", "backup")[0] == 0, "it needs no list"
    code, said = told(capsys, "store", "backup", stick)
    assert code == 1 and f"{backups._list()} can't be read" in said["error"]["what"]
    assert "take it away" in said["error"]["remedy"] and list(stick.iterdir()) == []
    code, said = told(capsys, "store", "check")
    assert code == 0 and "can't be read" in said["data"]["notes"][0]
    code, said = told(capsys, "forget", NAME, "--yes")
    assert (
        code == 1 and "can't be read" in said["data"]["warnings"][0] and said["data"]["forgotten"]
    )
    assert len(said["data"]["backups"]) == 1 and backups._list().read_text() == junk


def test_a_backup_may_have_any_name_that_a_file_may_have(path, tmp_path, capsys):
    copy = Path(os.fsdecode(os.fsencode(tmp_path / "stick-") + b"\xff.sqlite"))
    assert main(["store", "backup", str(copy)]) == 0
    assert copy.exists() and backups.elsewhere(path) == [copy]
    assert main(["forget", NAME, "--yes"]) == 0
    assert names_in(copy) == {1: None}


def test_a_damaged_bundle_leaves_no_copy_and_no_store_behind(path, tmp_path, capsys):
    bundle = tmp_path / "all.zip"
    assert main(["export", str(bundle)]) == 0
    bundle.write_bytes(bundle.read_bytes()[:-40])
    for store in (path, tmp_path / "new.sqlite"):
        assert main(["import", str(bundle), "--store", str(store)]) == 1
    assert "Nothing of it was taken in" in capsys.readouterr().err
    assert backups.backups_of(path) == [] and not (tmp_path / "new.sqlite").exists()


def test_a_store_by_another_name_is_the_same_store(path, tmp_path, capsys):
    link, stick = tmp_path / "mine.sqlite", tmp_path / "stick"
    link.symlink_to(path)
    stick.mkdir()
    made = [
        told(capsys, "store", "backup", stick, "--store", at)[1]["data"]["backup"]
        for at in (link, path)
    ]
    _, beside = told(capsys, "store", "backup", "--store", link)
    made.append(beside["data"]["backup"])
    old = [tmp_path / "mine-backup-2026-01-02.sqlite", stick / "old.sqlite"]  # of an older version
    for copy in old:
        shutil.copy(made[0], copy)
    told_of = json.loads(backups._list().read_text())
    backups._list().write_text(json.dumps({**told_of, str(link): [str(old[1])]}))
    assert made[-1].startswith(str(path.parent))
    assert main(["bibs", "1", "1=Otto", "--store", str(link)]) == 0
    capsys.readouterr()
    code, _ = told(capsys, "store", "restore", made[0], "--store", link)
    assert code == 0 and link.is_symlink() and names_in(path) == {1: NAME}
    for at in (path, link):  # whichever name is said first
        code, said = told(capsys, "forget", NAME, "--yes", "--store", at)
        found = {*made, *map(str, old)} if at == path else set()
        assert code == 0 and set(said["data"]["backups"]) == found
    for copy in (*made, *old):
        assert names_in(copy) == {1: None}
