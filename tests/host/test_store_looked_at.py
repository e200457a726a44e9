"""A file is looked at before it is opened as a store, and one with names is its owner's alone."""

import os
import random
import sqlite3
import stat
from contextlib import closing

import classes
import pytest

from handbell.base.errors import HandbellError, StoreError
from handbell.base.files import write_whole
from handbell.boxes.classes.stations import StationMap
from handbell.cli.main import main
from handbell.store import open_store, opening
from handbell.store.database import backups
from handbell.store.database.look import STORE_MARK, is_store
from handbell.store.people.wearers import set_wearers
from handbell.store.results.queries import list_classes
from handbell.work.after import backups as work

posix = pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")


def everything(folder):
    return {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.iterdir() if p.is_file()}


def rights(path):
    return stat.S_IMODE(path.stat().st_mode)


def made(path, *lines, wal=False):
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        if wal:
            db.execute("PRAGMA journal_mode = WAL")
        for line in lines:
            db.execute(line)
    return path


SONGS = "CREATE TABLE songs (name)"
VERSIONS = "CREATE TABLE alembic_version (version_num VARCHAR(32))"


@pytest.mark.parametrize(
    "lines",
    [
        (SONGS,),
        (SONGS, VERSIONS, "INSERT INTO alembic_version VALUES ('0003')"),
        (VERSIONS, "INSERT INTO alembic_version VALUES ('0003')"),
        ("PRAGMA application_id = 77",),
        ("PRAGMA application_id = 77", SONGS),
    ],
)
@pytest.mark.parametrize("wal", [False, True])
def test_not_a_byte_of_another_programs_database_changes(tmp_path, lines, wal, capsys):
    path = made(tmp_path / "other.sqlite", *lines, wal=wal)
    before = everything(tmp_path)
    for words in (["report"], ["roster"], ["bibs", "1", "1=Otto"], ["store", "check"]):
        assert main([*words, "--store", str(path)]) == 1
        assert "a database of something else" in capsys.readouterr().err
    with pytest.raises(StoreError, match="a database of something else"):
        open_store(str(path))
    assert everything(tmp_path) == before


def test_another_program_that_has_its_database_open_is_not_disturbed(tmp_path):
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute(SONGS)  # written ahead, so that the file itself has no table yet
        before = everything(tmp_path)
        with pytest.raises(StoreError, match="a database of something else"):
            open_store(str(path))
        assert everything(tmp_path) == before


def test_a_store_says_that_it_is_one_and_an_older_one_need_not(tmp_path):
    path = tmp_path / "store.sqlite"
    open_store(str(path)).close()
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA application_id").fetchone() == (STORE_MARK,)
        db.execute("PRAGMA application_id = 0")
        db.commit()
    open_store(str(path)).close()
    assert is_store(path)


def test_a_new_store_that_was_never_closed_is_known(tmp_path):
    path = tmp_path / "store.sqlite"
    with open_store(str(path)):
        with closing(sqlite3.connect(path)) as db:
            db.execute("PRAGMA application_id = 0")
            db.commit()
        assert is_store(path) and path.with_name("store.sqlite-wal").stat().st_size


@pytest.mark.parametrize("words", [["report"], ["history"], ["export", "out"], ["bibs", "1"]])
def test_a_mistyped_store_is_not_made(tmp_path, words, capsys):
    typo = tmp_path / "new" / "typo.sqlite"
    assert main([*words, "--store", str(typo)]) == 1
    assert f"There is no store {typo} yet" in capsys.readouterr().err
    assert not typo.parent.exists()


@pytest.mark.parametrize("version", ["'0004x'", "NULL", "x'ff00'", "7", "'-1'"])
def test_a_store_of_an_odd_version_is_a_sentence(tmp_path, version, capsys):
    path = tmp_path / "store.sqlite"
    open_store(str(path)).close()
    made(path, "DROP TABLE alembic_version", "CREATE TABLE alembic_version (version_num)")
    made(path, f"INSERT INTO alembic_version VALUES ({version})")
    assert main(["report", "--store", str(path)]) == 1
    assert "does not say which version it is of" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("where", "said"),
    [("~nobody-has-this/x.sqlite", "nobody's folder"), ("postgresql://host:x/y", "address is not")],
)
def test_a_place_that_can_not_be_is_a_sentence(where, said, capsys):
    assert main(["report", "--store", where]) == 1
    assert said in capsys.readouterr().err


def test_a_store_that_may_not_be_written_can_be_read(tmp_path, monkeypatch, demo_out, capsys):
    """The test may be root's, who may write all: so only what is asked first is answered for it."""
    path = tmp_path / "store.sqlite"
    path.write_bytes((demo_out / "store.sqlite").read_bytes())
    before = everything(tmp_path)
    for module in (opening, backups, work):
        monkeypatch.setattr(module, "may_write", lambda at: at != path)
    for words in (["report"], ["report", "--list"], ["history"], ["roster"], ["store", "check"]):
        assert main([*words, "--store", str(path)]) == 0, words
    assert everything(tmp_path) == before
    capsys.readouterr()
    assert main(["bibs", "1", "1=Otto", "--store", str(path)]) == 1
    assert "may only be read here" in capsys.readouterr().err
    assert everything(tmp_path) == before


def test_a_read_only_store_of_an_older_version_says_what_to_do(tmp_path, monkeypatch):
    path = tmp_path / "store.sqlite"
    open_store(str(path)).close()
    made(path, "UPDATE alembic_version SET version_num = '0004'")
    monkeypatch.setattr(opening, "may_write", lambda _: False)
    with pytest.raises(StoreError, match="Copy it to where you may write"):
        open_store(str(path))


@posix
@pytest.mark.skipif(os.name == "posix" and os.geteuid() == 0, reason="root may write all")
def test_a_folder_that_may_not_be_written_holds_a_store_to_be_read(tmp_path):
    folder = tmp_path / "shelf"
    open_store(str(folder / "store.sqlite")).close()
    folder.chmod(0o500)
    try:
        with open_store(str(folder / "store.sqlite"), make=False) as store:
            assert list_classes(store) == []
    finally:
        folder.chmod(0o700)


@posix
def test_what_names_stand_in_is_for_its_owner_only(tmp_path, monkeypatch, demo_out):
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "data" / "in"))
    monkeypatch.delenv("HANDBELL_STORE", raising=False)
    umask = os.umask(0o022)
    try:
        store = tmp_path / "data" / "in" / "store.sqlite"
        with open_store() as opened:
            opened.put_plan(b"x", "y")
            wal = store.with_name("store.sqlite-wal")
            assert rights(wal) == 0o600
        StationMap().save()
        at = ["--store", str(demo_out / "store.sqlite")]
        for words in (["csv"], ["all.json"], ["all.zip"], ["pq", "--as", "parquet"]):
            assert main(["export", str(tmp_path / "out" / words[0]), *words[1:], *at]) == 0
        assert main(["report", "--html", str(tmp_path / "out" / "r.html"), *at]) == 0
        made_now = [p for p in tmp_path.rglob("*") if p != tmp_path]
    finally:
        os.umask(umask)
    assert {p.name for p in made_now} >= {"store.sqlite", "stations.json", "r.html", "all.zip"}
    assert {rights(p) for p in made_now if p.is_file()} == {0o600}
    assert {rights(p) for p in made_now if p.is_dir()} == {0o700}


@posix
def test_a_virtual_box_with_its_plans_and_logs_is_for_its_owner_only(tmp_path):
    from handbell.virtual.spec import BoxSpec
    from handbell.work.trying.virtual_boxes import virtual_boxes

    flash = tmp_path / "boxes" / "box1.flash"
    umask = os.umask(0o022)
    try:
        BoxSpec("box1", bytes(8), flash).blank_flash()
        with virtual_boxes(1, 2, tmp_path / "data" / "virtual"):
            pass
    finally:
        os.umask(umask)
    assert (rights(flash), rights(flash.parent)) == (0o600, 0o700)
    made = tmp_path / "data"  # it may be the folder of all that Handbell keeps
    assert (rights(made), rights(made / "virtual")) == (0o700, 0o700)
    assert set(flash.read_bytes()) == {0xFF}


@posix
@pytest.mark.parametrize(
    ("name", "why"), [(b"notes", "is no folder"), (b"box\xff", "has letters that virtual boxes")]
)
def test_a_folder_that_virtual_boxes_can_not_use_is_a_sentence(tmp_path, name, why):
    from handbell.work.trying.virtual_boxes import virtual_boxes

    (tmp_path / "notes").write_text("x")
    with (
        pytest.raises(HandbellError, match=why) as raised,
        virtual_boxes(1, 2, tmp_path / os.fsdecode(name)),
    ):
        pass
    assert "--folder" in raised.value.remedy


@posix
def test_a_file_that_was_there_keeps_its_rights(tmp_path):
    path = tmp_path / "stations.json"
    path.write_text("{}")
    path.chmod(0o664)
    write_whole(path, "{ }", private=True)
    assert rights(path) == 0o664
    store = tmp_path / "store.sqlite"
    open_store(str(store)).close()
    store.chmod(0o640)
    open_store(str(store)).close()
    assert rights(store) == 0o640


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    path = tmp_path_factory.mktemp("sound") / "store.sqlite"
    with open_store(str(path)) as store:
        for box_id, data, run in classes.make_class(boxes=2):
            store.put_timeline(data)
            store.ingest(run.journal, box_id, 10**15)
        set_wearers(store, 1, {1: "Zoe Quill"})
    return path.read_bytes()


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_damaged_in_a_store_is_a_sentence_without_names(sound, tmp_path, capsys, seed):
    drawn = random.Random(seed)
    data = bytearray(sound)
    for _ in range(drawn.choice([1, 3, 30])):
        at = drawn.randrange(100, len(data) - 200)
        data[at : at + 200] = drawn.randbytes(200) if drawn.random() < 0.5 else b"\xff" * 200
    path = tmp_path / "store.sqlite"
    for words in (["report"], ["history"], ["store", "check"], ["export", str(tmp_path / "x")]):
        path.write_bytes(data)
        code = main([*words, "--store", str(path)])
        err = capsys.readouterr().err
        assert code in (0, 1) and "fault of its own" not in err and "Quill" not in err


def test_words_of_a_damage_that_are_no_text_are_a_sentence(sound, tmp_path, capsys):
    """SQLite quotes a damaged name of a table in its error, and Python can't read that."""
    path = tmp_path / "store.sqlite"
    path.write_bytes(sound.replace(b"CREATE TABLE plans (", b"CREATE TABLE \xff\xfe\xfd\xff\xfe ("))
    for words in (["report"], ["roster"], ["store", "check"], ["store", "backup"]):
        assert main([*words, "--store", str(path)]) in (0, 1)
        assert "fault of its own" not in capsys.readouterr().err


def test_looking_how_things_stand_touches_no_database(tmp_path, capsys):
    path = made(tmp_path / "other.sqlite", SONGS, wal=True)
    before = everything(tmp_path)
    main(["doctor", "--store", str(path)])
    assert "no store of Handbell" in capsys.readouterr().out
    assert everything(tmp_path) == before
