"""The roster: files as spreadsheets write them, all faults at once, and nothing half done."""

import classes
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handbell.base.cells import as_written, safe
from handbell.base.errors import HandbellError, RosterError, UsageError
from handbell.cli.main import main
from handbell.store.people.roster import Athlete, athletes, merge, wear_as_usual
from handbell.store.people.roster_file import parse_roster, read_roster
from handbell.store.people.wearers import set_wearers
from handbell.store.results.queries import load_class

pytest_plugins = ["store_fixtures"]

MINA, OTTO = Athlete("Mina Kay", 7, "Monday"), Athlete("Óttó Ås", 8, "Monday")
PLAIN = "Name,Bib,Group\nMina Kay,7,Monday\nÓttó Ås,8,Monday\n"


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("cp1252"),
        PLAIN.encode("utf-16"),
        PLAIN.replace(",", ";").replace("\n", "\r\n").encode("cp1252"),
        PLAIN.replace(",", "\t").encode("utf-16"),
        ("sep=|\r\n" + PLAIN.replace(",", "|")).encode(),
        ("\n\n" + PLAIN + "\n,,\n\n").encode(),
        b"No.;Gruppe;Vorname;Nachname\n7;Monday;Mina;Kay\n8.0;Monday;\xd3tt\xf3;\xc5s\n",
        'FULL_NAME,"bib #",Team,Shoe\n" Mina\u202e  Kay",#7,Monday,38\n"Óttó\nÅs",8,Monday,44\n'.encode(),
        "name,bib,group\nMina Kay,7,Monday\nO\u0301tto\u0301 A\u030as,8,Monday\n".encode(),
    ],
)
def test_files_as_spreadsheets_write_them(data):
    assert parse_roster(data, "r.csv") == [MINA, OTTO]


def test_bib_and_group_may_be_missing():
    assert parse_roster(b"athlete\nMina\n", "r.csv") == [Athlete("Mina")]


def test_every_fault_is_told_at_once():
    text = f"name,bib,group\nMina,7,A\n,8,A\nOtto,x7,A\nADA,9,A\nada,10,A\n{'y' * 10_000},0,{'z' * 99}\n"
    with pytest.raises(RosterError) as told:
        parse_roster(text.encode(), "monday.csv")
    assert told.value.faults == [
        "row 3: it has no name",
        "row 4: 'x7' is no bib; it is a number from 1 to 65535",
        "row 6: ada stands in row 5 too; add something that tells the two apart",
        "row 7: the name yyyyyyyyyyyyyyyyyyyy... has 10000 characters, the most is 80",
        "row 7: the group zzzzzzzzzzzzzzzzzzzz... has 99 characters, the most is 80",
        "row 7: '0' is no bib; it is a number from 1 to 65535",
    ]


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "it holds nothing"),
        (b"\n;;\n", "it holds nothing"),
        (b"bib,group\n7,A\n", "no column is headed"),
        (b"name,athlete\nA,B\n", "two columns hold the name: number 1 and 2"),
        (b"PK\x03\x04\x00\x00\xff\xfe", "it is no text; save the sheet as CSV"),
        (b'name\n"Mina', "can't be told apart"),
    ],
)
def test_what_is_no_roster_is_said(data, why):
    with pytest.raises(RosterError, match=why):
        parse_roster(data, "r.csv")


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=200))
def test_junk_gives_people_or_a_sentence(data):
    try:
        found = parse_roster(data, "r.csv")
    except HandbellError:
        return
    assert all(a.name and len(a.name) <= 80 and a.name.isprintable() for a in found)


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=20))
def test_a_cell_is_never_a_formula_and_reads_back(text):
    cell = safe(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert as_written(cell) == text


def test_a_file_that_is_not_there_is_named(tmp_path):
    with pytest.raises(HandbellError, match=r"none\.csv can't be read"):
        read_roster(tmp_path / "none.csv")


def test_taking_in_twice_changes_nothing_and_a_dry_run_never(store):
    planned = merge(store, [MINA, OTTO], dry_run=True)
    assert planned.new == [MINA, OTTO] and athletes(store) == []
    assert merge(store, [MINA, OTTO]) == planned
    again = merge(store, [MINA, OTTO])
    assert (again.new, again.changed, again.same) == ([], [], [MINA, OTTO])
    moved = Athlete("mina kay", 9, "Friday")
    changed = merge(store, [moved])
    assert (changed.changed, changed.gone) == ([(MINA, moved)], [])
    assert athletes(store) == [moved, OTTO]
    left = merge(store, [OTTO], replace=True)
    assert left.gone == [moved] and athletes(store) == [OTTO]


def test_one_bib_for_two_of_a_group_is_refused_whole(store):
    merge(store, [MINA])
    with pytest.raises(UsageError, match="Bib 7 of group Monday would be Mina Kay's and Ada's"):
        merge(store, [OTTO, Athlete("Ada", 7, "Monday")])
    assert athletes(store) == [MINA]
    merge(store, [Athlete("Ada", 7, "Friday")])
    assert len(athletes(store)) == 2


def test_bibs_that_nobody_named_are_named_by_the_roster(store):
    data = classes.timeline(bibs=(7, 8))
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    merge(store, [MINA, OTTO, Athlete("Ada", 8, "Friday"), Athlete("Idle", 50)])
    with pytest.raises(UsageError, match=r"Bib 8 is usually worn by Ada \(Friday\) and Óttó Ås"):
        wear_as_usual(store, 1)
    set_wearers(store, 1, {7: "Somebody else"})
    wear_as_usual(store, 1, "Monday")
    worn = {b: w.name for b, w in load_class(store, 1).wearers.items()}
    assert worn == {7: "Somebody else", 8: "Óttó Ås"}


def test_who_was_named_for_another_bib_is_not_named_for_the_usual_one_too(store):
    data = classes.timeline(bibs=(7, 8))
    store.put_timeline(data)
    store.ingest(classes.play(data).journal, classes.BOX_IDS[0], 10**15)
    merge(store, [MINA, OTTO])
    set_wearers(store, 1, {8: "mina kay"})
    wear_as_usual(store, 1)
    assert {b: w.name for b, w in load_class(store, 1).wearers.items()} == {8: "Mina Kay"}


def test_the_command_shows_takes_in_and_lists(tmp_path, capsys):
    path = tmp_path / "monday.csv"
    path.write_bytes(b"name;bib\n'=1+1;7\n[red]Mina[/red];8\n")
    assert main(["roster", str(path), "--dry-run"]) == 0
    assert "new: =1+1, bib 7" in capsys.readouterr().out
    assert main(["roster"]) == 0
    assert "Nobody is on the roster" in capsys.readouterr().out
    assert main(["roster", str(path)]) == 0
    assert main(["roster"]) == 0
    assert "[red]Mina[/red], bib 8" in capsys.readouterr().out
    path.write_bytes(b"name;bib\n;7\nA;x\n")
    assert main(["roster", str(path)]) == 1
    said = capsys.readouterr().err
    assert "2 things to fix" in said and "row 2: it has no name" in said
