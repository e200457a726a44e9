"""People apart from their names: renamed, of one name, two records that were one, forgotten."""

import json
import random
from datetime import date

import classes
import pytest
from sqlalchemy import select, text
from store_places import import_bundle

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.bundles.form import checked_list
from handbell.store.database import tables
from handbell.store.exports.export import export_json
from handbell.store.exports.schema import Wanted
from handbell.store.people.forget import forget
from handbell.store.people.names import key_of, plain_text
from handbell.store.people.roster import Athlete, athletes, merge
from handbell.store.people.told import make_same, make_two, put_notes, rename
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_name
from handbell.store.results.queries import load_class
from handbell.work.after import people as work

pytest_plugins = ["store_fixtures"]


DAY_MS = 86_400_000
HALL = "00000000000000a1"


def hold_class(store, day=0, bibs=(7, 8), presses=()):
    """Put a class into a store in which all bibs pressed; return its number."""
    data = classes.timeline(bibs=bibs)
    store.put_timeline(data)
    at_ms = classes.START_UTC_MS + day * DAY_MS
    some = [classes.Press(11_000 + 500 * n, slot=n) for n in range(len(bibs))]
    run = classes.play(data, some, at_ms)
    box = classes.BOX_IDS[0]
    return store.ingest(run.journal, box, (at_ms + 3_600_000) * 1000).class_id


def names(store, class_id=1):
    return {bib: w.name for bib, w in load_class(store, class_id).wearers.items()}


def hand(theirs, store, path):
    export_bundle(theirs, path, Wanted())
    return import_bundle(store, path)


def texts(store):
    with store.reading() as conn:
        return json.dumps(
            [
                [repr(tuple(row)) for row in conn.execute(select(table))]
                for table in tables.metadata.sorted_tables
            ]
        )


@pytest.fixture(name="home")
def _home(tmp_path):
    with open_store(str(tmp_path / "home.sqlite")) as home:
        yield home


@pytest.fixture(name="theirs")
def _theirs(tmp_path):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        yield theirs


def test_a_person_called_otherwise_is_so_in_every_class_and_one_person_still(store):
    merge(store, [Athlete("Mina", 7)])
    for day in range(2):
        set_wearers(store, hold_class(store, day), {7: "Mina"})
    amend_name(store, load_class(store, 1), 8, Change("name", "Otto", "C", "w", 5))
    assert rename(store, "mina", "Mina Kay") == "Mina Kay"
    assert names(store, 1) == {7: "Mina Kay", 8: "Otto"}
    assert names(store, 2) == {7: "Mina Kay"}
    assert [a.name for a in athletes(store)] == ["Mina Kay"]
    with pytest.raises(UsageError, match="Somebody else is called"):
        rename(store, "Otto", "MINA KAY")
    set_wearers(store, hold_class(store, 2), {7: "Mina"})
    assert names(store, 3) == {7: "Mina"}, "the old name is free for somebody else"
    assert names(store, 1)[7] == "Mina Kay"


def test_two_of_one_name_are_two_people_told_apart_by_what_is_no_others(home):
    merge(home, [Athlete("Mina", 7, "Monday"), Athlete("Mina", 7, "Thursday")])
    hold_class(home)
    with pytest.raises(UsageError, match="Several are called") as told:
        set_wearers(home, 1, {7: "Mina"})
    assert told.value.remedy == 'Say "Mina (Monday)" or "Mina (Thursday)"'
    set_wearers(home, 1, {7: "mina (monday)", 8: "Mina (Thursday)"})
    assert names(home) == {7: "Mina (Monday)", 8: "Mina (Thursday)"}
    with pytest.raises(UsageError, match="would be bib 7 and bib 8"):
        set_wearers(home, 1, {7: "Mina (Monday)", 8: "Mina (Monday)"})
    same = [Athlete("Mina", 9, "Monday"), Athlete("Mina", 7, "Thursday")]
    assert [len(x) for x in vars(merge(home, same)).values()] == [0, 1, 1, 0]
    forget(home, "Mina (Monday)")
    assert names(home) == {7: None, 8: "Mina"} and len(athletes(home)) == 1


def test_two_records_that_were_one_person_are_joined_and_parted_again(store):
    for day, name in enumerate(("M. Kay", "Mina")):
        set_wearers(store, hold_class(store, day), {7: name})
    merge(store, [Athlete("M. Kay", 7)])
    assert make_same(store, "M. Kay", "Mina") == "Mina"
    assert names(store, 1) == names(store, 2) == {7: "Mina"}
    assert [(a.name, a.bib) for a in athletes(store)] == [("Mina", 7)]
    assert make_same(store, "Mina", "Mina") == "Mina"
    assert sorted(make_two(store, "Mina")) == ["M. Kay", "Mina"]
    assert names(store, 1) == {7: "M. Kay"}
    with pytest.raises(UsageError, match="one record only"):
        make_two(store, "Mina")


def test_two_who_were_in_one_class_are_never_one(home):
    hold_class(home)
    set_wearers(home, 1, {7: "Mina", 8: "Otto"})
    with pytest.raises(UsageError, match="were in one class, so they are two"):
        make_same(home, "Mina", "Otto")
    assert names(home) == {7: "Mina", 8: "Otto"}


def in_hall(store, class_id, hall):
    with store.engine.begin() as conn:
        conn.execute(
            text("UPDATE runs SET hall = :hall WHERE class_id = :one"),
            {"hall": hall, "one": class_id},
        )


def test_a_name_means_nobody_of_another_hall_until_a_coach_says_so(home):
    for day, hall in enumerate((HALL, HALL, "00000000000000b2")):
        number = hold_class(home, day)
        in_hall(home, number, hall)
        set_wearers(home, number, {7: "Mina"})
    there = [names(home, n)[7] for n in (1, 2, 3)]
    assert there == ["Mina (hall 00000000)"] * 3 or len(set(there)) == 2
    assert there[0] == there[1] != there[2]
    make_same(home, there[2], there[0])
    assert {names(home, n)[7] for n in (1, 2, 3)} == {"Mina"}


def test_another_coach_s_mina_is_another_and_import_says_how_to_say_they_are_one(
    home, theirs, tmp_path
):
    set_wearers(home, hold_class(home), {7: "Mina"})
    set_wearers(theirs, hold_class(theirs, 3), {7: "MINA"})
    done = hand(theirs, home, tmp_path / "b.zip")
    said = [words for words in done.kept if "another person" in words]
    assert len(said) == 1 and "handbell roster --same" in said[0]
    first, second = names(home, 1)[7], names(home, 2)[7]
    assert first != second and key_of(first).startswith("mina (no. ")
    before = texts(home)
    again = hand(theirs, home, tmp_path / "b.zip")
    assert again.kept == [] and texts(home) == before, "twice changes nothing"
    make_same(home, second, first)
    set_wearers(theirs, hold_class(theirs, 4), {7: "Mina"})
    done = hand(theirs, home, tmp_path / "b.zip")
    assert not [words for words in done.kept if "another person" in words]
    assert {names(home, n)[7] for n in (1, 2, 3)} == {"Mina"}, "one for good"


def test_who_wore_the_same_bib_of_the_same_class_is_the_same(home, theirs, tmp_path):
    for one in (home, theirs):
        set_wearers(one, hold_class(one), {7: "Mina"})
    set_wearers(theirs, hold_class(theirs, 3), {8: "Mina"})
    assert hand(theirs, home, tmp_path / "b.zip").kept == []
    assert names(home, 1) == {7: "Mina"} and names(home, 2) == {8: "Mina"}


def test_a_second_laptop_of_the_hall_knows_people_by_name(home, theirs, tmp_path):
    for day, one in enumerate((home, theirs)):
        number = hold_class(one, day)
        in_hall(one, number, HALL)
        set_wearers(one, number, {7: "Mina"})
    assert hand(theirs, home, tmp_path / "b.zip").kept == []
    assert names(home, 1) == names(home, 2) == {7: "Mina"}
    rename(home, "Mina", "Mina Kay")
    assert hand(home, theirs, tmp_path / "c.zip").kept == []
    assert set(names(theirs, 1).values()) == set(names(theirs, 2).values())


def test_an_earlier_version_s_bundle_is_read_and_one_for_it_has_names(home, theirs, tmp_path):
    import zipfile

    set_wearers(theirs, hold_class(theirs), {7: "Mina", 8: "Otto"})
    export_bundle(theirs, tmp_path / "b.zip", Wanted())
    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        told = json.loads(file.read("bundle.json"))
    assert [one["name"] for one in told["wearers"]] == ["Mina", "Otto"]
    assert {one["called"] for one in told.pop("people")} == {"Mina", "Otto"}
    assert checked_list(json.dumps(told).encode())["people"] == []


def test_what_is_noted_leaves_the_store_in_no_way_and_is_forgotten(home, tmp_path):
    merge(home, [Athlete("Mina", 7)])
    set_wearers(home, hold_class(home), {7: "Mina"})
    found = put_notes(home, "Mina", ["wrist"], date(2027, 3, 1))
    assert [(n.bib, n.what, n.until) for n in found] == [(7, "wrist", date(2027, 3, 1))]
    export_json(home, tmp_path / "all.json", Wanted())
    export_json(home, tmp_path / "one.json", Wanted(person="Mina"))
    export_bundle(home, tmp_path / "b.zip", Wanted())
    import zipfile

    with zipfile.ZipFile(tmp_path / "b.zip") as file:
        data = [file.read(name) for name in file.namelist()]
    data += [(tmp_path / f"{name}.json").read_bytes() for name in ("all", "one")]
    assert not [one for one in data if b"wrist" in one or b"2027-03" in one]
    forget(home, "Mina")
    assert "wrist" not in texts(home) and "Mina" not in texts(home)


def test_a_person_s_export_holds_nobody_else(home, tmp_path):
    merge(home, [Athlete("Mina", 7, "Bo Ek's friends"), Athlete("Bo Ek", 8)])
    hold_class(home)
    set_wearers(home, 1, {7: "Bo Ek", 8: "Cy"})
    change = Change("name", "Mina", "Coach Dee", "not Bo Ek, nor Cy", 5)
    amend_name(home, load_class(home, 1), 7, change)
    export_json(home, tmp_path / "one.json", Wanted(person="mina"))
    told = (tmp_path / "one.json").read_text()
    assert "Mina" in told and not [w for w in ("Bo Ek", "Cy", "Dee") if w in told]


def test_marks_that_take_no_room_make_nobody_else():
    assert plain_text("Mi\u2060na\u00ad ") == "Mina"
    assert key_of("Mi\u200dna") == key_of("mina")


def test_forget_names_those_who_are_nearly_called_so(home, capsys):
    merge(home, [Athlete("Quirke, Zebulon", 7)])
    assert forget(home, "Zebulon Quirke", dry_run=True).alike == ["Quirke, Zebulon"]
    assert forget(home, "Zebulon", dry_run=True).alike == ["Quirke, Zebulon"]
    assert forget(home, "Quirke, Zebulon", dry_run=True).alike == []


@pytest.mark.parametrize(
    "words, what",
    [("sore wrist", ["wrist"]), ("Beginner, sore knee", ["beginner", "knee"]), ("", [])],
)
def test_a_note_is_in_the_words_of_swap(words, what):
    assert work._what(words) == what
    with pytest.raises(UsageError, match="no body part"):
        work._what("sore temper")


def test_any_walk_of_renames_joins_and_forgetting_keeps_who_is_who(home):
    """Against a dictionary: the person of each class's bib, whatever they are called."""
    drawn = random.Random(7)
    who, called = {}, {}
    for n in range(4):
        number = hold_class(home, n)
        set_wearers(home, number, {7: f"A{n}"})
        who[number], called[n] = n, f"A{n}"
    for step in range(40):
        people = sorted(set(filter(lambda p: p is not None, who.values())))
        if not people:
            break
        deed, one = drawn.choice(["rename", "rename", "join", "forget"]), drawn.choice(people)
        if deed == "rename":
            rename(home, called[one], f"B{step}")
            called[one] = f"B{step}"
        elif deed == "join" and step > 8:
            other = drawn.choice(people)
            make_same(home, called[one], called[other])
            who = {number: other if p == one else p for number, p in who.items()}
        elif deed == "forget" and step > 25:
            forget(home, called[one])
            who = {number: None if p == one else p for number, p in who.items()}
        for number, person in who.items():
            assert names(home, number)[7] == (None if person is None else called[person])
    assert step > 20


def test_who_is_forgotten_by_a_former_name_is_named_and_nothing_is_kept_in_silence(home):
    merge(home, [Athlete("Zebulon", 7)])
    rename(home, "Zebulon", "Quirin")
    with pytest.raises(UsageError, match='"Zebulon" is called "Quirin" by now'):
        forget(home, "Zebulon")
    forget(home, "Quirin")
    assert "Zebulon" not in texts(home) and "Quirin" not in texts(home)


def test_two_of_one_name_in_a_bundle_are_not_both_the_one_who_is_known(home, theirs, tmp_path):
    merge(home, [Athlete("Mina", 7)])
    number = hold_class(home)
    in_hall(home, number, HALL)
    set_wearers(home, number, {7: "Mina"})
    merge(theirs, [Athlete("Mina", 7, "Monday"), Athlete("Mina", 8, "Thursday")])
    for day, name, bib in ((1, "Mina (Monday)", 7), (2, "Mina (Thursday)", 8)):
        number = hold_class(theirs, day)
        in_hall(theirs, number, HALL)
        set_wearers(theirs, number, {bib: name})
    hand(theirs, home, tmp_path / "b.zip")
    worn = {name for number in (2, 3) for name in names(home, number).values()}
    assert len(worn) == 2 and names(home)[7] not in worn


def test_forgetting_one_leaves_others_of_that_name_in_the_backups(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    early, late = tmp_path / "early.sqlite", tmp_path / "late.sqlite"
    with open_store() as store:
        merge(store, [Athlete("Mina", 7, "Monday"), Athlete("Mina Kay", 9, "Monday")])
        set_wearers(store, hold_class(store), {7: "Mina"})
    assert main(["store", "backup", str(early)]) == 0
    with open_store() as store:
        rows = [Athlete("Mina", 7, "Monday"), Athlete("Mina", 8, "Thursday")]
        merge(store, [*rows, Athlete("Mina Kay", 9, "Monday")])
        set_wearers(store, hold_class(store, 1), {8: "Mina (Thursday)"})
    assert main(["store", "backup", str(late)]) == 0
    assert main(["forget", "Mina (Thursday)", "--yes"]) == 0
    for path in (early, late):
        with open_store(str(path)) as store:
            assert {a.name for a in athletes(store)} == {"Mina", "Mina Kay"}
            assert names(store)[7] == "Mina"
