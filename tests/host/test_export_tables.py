"""Exports: the same rows in every form, safe in a spreadsheet, and described in the docs."""

import csv
import json
import re
import zipfile
from pathlib import Path

import classes
import pytest
from store_places import import_bundle

from handbell.base.errors import HandbellError, UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.exports import export
from handbell.store.exports.schema import TABLES, Wanted
from handbell.store.logs.recount import AGREED, AMENDED, BOX, DIFFERS, INVALID, PARTLY, RECOUNT
from handbell.store.people.forget import forget
from handbell.store.people.known_names import KnownNames
from handbell.store.people.roster import Athlete, merge
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_efforts, amend_name
from handbell.store.results.efforts import efforts
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

pytest_plugins = ["store_fixtures"]

DOCS = Path(__file__).parents[2] / "docs" / "engineers" / "store.md"
NAMES = {
    1: '=HYPERLINK("http://x","y")',
    2: "<b>Mina</b> & 'Co'",
    3: "+1 -1 @SUM(A1)",
    4: "עֲדָה، آدا",
    5: "'quoted",
}


def filled(store):
    for box, data, run in classes.make_class(boxes=3, rounds=1, seed=5):
        store.put_timeline(data)
        store.ingest(run.journal, box, 10**15)
    set_wearers(store, 1, NAMES, [6])
    merge(store, [Athlete(NAMES[1], 1, "-Group-"), Athlete("Otto", 2)])
    record = load_class(store, 1)
    places = one_window(record, places_of(record, 2, Among("Ring rows")))
    amend_efforts(store, record, places, Change("reps", "3", "Coach", '=cmd|"/c calc"', 5))
    return store


def rows_of(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_no_cell_is_a_formula_and_names_read_back(store, tmp_path):
    export.export_csv(filled(store), tmp_path / "out", Wanted())
    for path in (tmp_path / "out").iterdir():
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [c for c in cells if c.startswith(("=", "+", "-", "@", "\t", "\r"))]
    worn = {int(r["bib"]): r["person"] for r in rows_of(tmp_path / "out", "wearers")}
    assert worn == NAMES | {1: "'" + NAMES[1], 3: "'" + NAMES[3], 5: "''quoted", 6: ""}
    assert not list((tmp_path / "out").glob("*.part"))


def test_numbers_below_zero_stay_numbers_and_nothing_is_empty(store, tmp_path):
    counts = export.export_csv(filled(store), tmp_path, Wanted())
    assert set(counts) == {spec.name for spec in TABLES}
    assert all(counts.values())
    (amended,) = [r for r in rows_of(tmp_path, "results") if r["amended"]]
    assert (amended["reps"], amended["standing"], amended["why"]) == (
        "3",
        "amended",
        '\'=cmd|"/c calc"',
    )
    assert amended["finish_ms"] == "" and amended["was"]


def test_the_mark_for_spreadsheets_is_there_when_wished(store, tmp_path):
    export.export_csv(filled(store), tmp_path / "a", Wanted(), mark=True)
    export.export_csv(store, tmp_path / "b", Wanted())
    marked, plain = ((tmp_path / x / "wearers.csv").read_bytes() for x in "ab")
    assert marked == b"\xef\xbb\xbf" + plain


def test_json_and_parquet_hold_the_same_rows_as_csv(store, tmp_path):
    pq = pytest.importorskip("pyarrow.parquet", reason="pip install 'handbell[export]'")
    filled(store)
    assert (
        export.export_csv(store, tmp_path, Wanted())
        == export.export_json(store, tmp_path / "all.json", Wanted())
        == export.export_parquet(store, tmp_path, Wanted())
    )
    told = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["tables"]
    for spec in TABLES:
        table = pq.read_table(tmp_path / f"{spec.name}.parquet")
        assert table.column_names == [c.name for c in spec.columns]
        assert table.schema.field(0).metadata[b"meaning"].decode() == spec.columns[0].meaning
        rows = json.loads(json.dumps(table.to_pylist(), default=lambda at: at.isoformat()))
        assert rows == told[spec.name]
        for a, b in zip(rows, rows_of(tmp_path, spec.name), strict=True):
            assert {n: str(export._cell(v)) if v is not None else "" for n, v in a.items()} == b


def test_without_names_there_are_none(store, tmp_path):
    export.export_json(filled(store), tmp_path / "a.json", Wanted(names=False))
    text = (tmp_path / "a.json").read_text(encoding="utf-8")
    assert "roster" not in json.loads(text)["tables"]
    for name in (*NAMES.values(), "Otto", "Coach", "calc"):
        assert json.dumps(name, ensure_ascii=False)[1:-1] not in text


def named_class(store):
    """A class whose plan speaks of people, one of them by a word of her name."""
    text = b'# Mina wants it harder\ntitle = "Zora Wall\'s last class"\n'
    data = classes.timeline(
        ((classes.Piece("Wall sit", 30), classes.Piece("Otto Holm special", 30)),),
        (1, 2),
        rounds=1,
        title="Zora Wall's last class",
        who="Mina and others",
        plan=text,
    )
    store.put_timeline(data)
    store.put_plan(text, "Zora Wall's last class")
    store.ingest(classes.play(data, [classes.Press(11_000)]).journal, classes.BOX_IDS[0], 10**15)
    merge(store, [Athlete("Mina Lind", 1), Athlete("Zora Wall", 2)])
    set_wearers(store, 1, {1: "Otto Holm"})
    amend_name(store, load_class(store, 1), 1, Change("name", "Mina Lind", "C", "not Otto Holm", 5))
    record = load_class(store, 1)
    places = one_window(record, places_of(record, 1, Among("Wall sit")))
    amend_efforts(store, record, places, Change("reps", "3", "C", "Zora saw it", 6))


def test_no_name_that_is_known_stands_in_words_of_an_export_without_names(store, place, tmp_path):
    named_class(store)
    for kind in ("csv", "json", "bundle"):
        path = tmp_path / kind
        assert main(["export", str(path), "--as", kind, "--no-names", "--store", place]) == 0
        files = [path] if path.is_file() else list(path.iterdir())
        if kind == "bundle":
            with zipfile.ZipFile(path) as file:
                words = b"".join(file.read(name) for name in file.namelist())
        else:
            words = b"".join(one.read_bytes() for one in files)
        for name in (b"Mina", b"Zora", b"Otto", b"Holm", b"Lind"):
            assert name not in words, (kind, name)
        assert b"Wall sit" in words, "an exercise keeps its name, though somebody is called so"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("mina berg", "Mina's night"),
        ("mina berg", "for BERG"),
        ("Mina Berg", "Mina_Berg"),
        ("Mina Berg", "plan_mina_2"),
        ("O'Neil Pat", "with O’Neil"),
        ("Pat O’Neil", "with o'neil"),
    ],
)
def test_a_name_is_found_however_it_is_written(store, name, words):
    merge(store, [Athlete(name, 1)])
    with store.reading() as conn:
        known = KnownNames(conn)
    assert known.found(words)
    assert not known.found(known.without(words))


def test_a_bundle_without_names_says_what_it_kept_out_and_what_it_can_not_find(
    store, place, tmp_path, capsys
):
    named_class(store)
    assert main(["export", str(tmp_path / "a.zip"), "--store", place]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Zora Wall in the title of the plan Zora Wall's last class: replaced." in said
    assert "Mina, Zora Wall in the text of the plan Zora Wall's last class: the text" in said
    assert "A name in what Station 1 showed: dashes stand for it." in said
    assert "None of the 3 names known here is in it" in said
    assert "Nicknames and names that were never entered can't be found" in said
    with open_store(str(tmp_path / "other.sqlite")) as other:
        import_bundle(other, tmp_path / "a.zip")
        record = load_class(other, 1)
        assert record.row.title == "(name removed)'s last class"
        assert {r.reps for r in record.results} == {r.reps for r in load_class(store, 1).results}


def test_one_persons_data_holds_no_other_persons_name(store, tmp_path):
    named_class(store)
    export.export_json(store, tmp_path / "mina.json", Wanted(person="Mina Lind"))
    words = (tmp_path / "mina.json").read_text(encoding="utf-8")
    assert "Mina Lind" in words
    for name in ("Otto", "Holm", "Zora"):
        assert name not in words
    (given,) = [a for a in json.loads(words)["tables"]["amendments"] if a["what"] == "name"]
    assert (given["value"], given["was"]) == ("Mina Lind", None)
    assert given["why"] == "not (name removed)"


def test_one_persons_data_and_nobody_elses(store, tmp_path):
    export.export_json(filled(store), tmp_path / "a.json", Wanted(person=NAMES[2].upper()))
    told = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["tables"]
    for name in ("results", "taps", "ratings", "wearers", "amendments"):
        assert {r["bib"] for r in told[name]} == {2}, name
    assert len(told["results"]) == 6 and told["roster"] == []
    with pytest.raises(UsageError, match='Nobody called "Nemo"'):
        export.export_json(store, tmp_path / "b.json", Wanted(person="Nemo"))
    assert not (tmp_path / "b.json").exists()


def test_only_the_classes_that_are_wanted(store, tmp_path):
    filled(store)
    data = classes.timeline(plan=b"other")
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    counts = export.export_csv(store, tmp_path, Wanted(classes=frozenset({2})))
    assert counts["classes"] == 1 and counts["runs"] == 1
    with pytest.raises(UsageError, match="holds no class 9"):
        export.export_csv(store, tmp_path, Wanted(classes=frozenset({9})))


def test_nothing_exported_afterwards_holds_a_forgotten_name(store, tmp_path):
    forget(filled(store), "Otto")
    forget(store, NAMES[2])
    export.export_csv(store, tmp_path, Wanted())
    for path in tmp_path.iterdir():
        if path.suffix == ".csv":
            assert b"Otto" not in path.read_bytes() and b"Mina" not in path.read_bytes()


def test_a_place_that_can_not_be_written_is_named(store, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(HandbellError, match="can't be written"):
        export.export_csv(store, tmp_path / "file" / "out", Wanted())


def test_the_docs_list_every_table_and_column():
    text = DOCS.read_text(encoding="utf-8")
    for spec in TABLES:
        assert f"### `{spec.name}`" in text
        part = text.split(f"### `{spec.name}`", 1)[1].split("\n#", 1)[0]
        for column in spec.columns:
            assert f"| `{column.name}` | {column.kind} | {column.meaning} |" in part


def test_the_command_says_how_much_it_wrote(store, place, tmp_path, capsys):
    filled(store)
    where = ["--store", place]
    assert main(["export", str(tmp_path / "out"), *where]) == 0
    assert "classes 1, runs 3, results 36" in capsys.readouterr().out
    assert main(["export", str(tmp_path / "a.json"), "--no-names", *where]) == 0
    assert "known here is in it" in capsys.readouterr().out
    assert main(["export", str(tmp_path / "b.zip"), "--person", "Otto", *where]) == 2
    assert main(["export", str(tmp_path), "--as", "json", *where]) == 2
    capsys.readouterr()


def test_the_manual_lists_every_table_and_those_that_are_written():
    text = DOCS.with_name("reports.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `(\w+)` \|", text.split("| table |")[1].split("\n\n")[0], re.M)
    assert sorted(listed) == sorted(set(tables.metadata.tables))
    written = text.split("`handbell export tables` writes")[1].split("[store.md]")[0]
    said = set(re.findall(r"`(\w+)`", written)) - {"athletes"}
    assert said == {spec.name for spec in TABLES}
    standings = {AGREED, RECOUNT, DIFFERS, BOX, PARTLY, AMENDED, INVALID}
    assert standings == set(re.findall(r"^\| `(\w+)` \|", text.split("| standing |")[1], re.M))


def test_what_the_report_does_not_know_is_empty_in_an_export(store, tmp_path):
    """Of windows in which the box had no power, or after which its log breaks off."""
    pieces = (
        classes.Piece("Ring rows", 40, t.ASK_TARGET, goal=5),
        classes.Piece("Front plank", 40, t.ASK_HOLD, t.TAP_DROP),
    )
    presses = [classes.Press(11_000 + 5_000 * n) for n in range(8)]
    played = (
        lambda data: classes.play_off(data, presses, 22_000, 29_000).journal,
        lambda data: classes.play_off(data, [], 60_000, 70_000).journal,
        lambda data: classes.cut(classes.play(data, presses), 60_000),
        lambda data: classes.play(data, presses, stop_ms=70_000).journal,
    )
    for n, play in enumerate(played, 1):
        data = classes.timeline((pieces,), (n,), n, rounds=1)
        store.put_timeline(data)
        store.ingest(play(data), classes.BOX_IDS[n], 10**15)
    export.export_json(store, tmp_path / "all.json", Wanted())
    told = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))["tables"]["results"]
    known = {(e.bib, e.window): e for e in efforts(load_class(store, 1))}
    assert PARTLY in {row["standing"] for row in told}
    for row in told:
        effort = known[row["bib"], row["window"]]
        assert row["finish_ms"] == effort.finish_ms, row
        assert row["held_ms"] == effort.held_ms, row
