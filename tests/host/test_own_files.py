"""The small files that the host keeps for itself: damaged, they end in one sentence or in nothing."""

import contextlib
import copy
import json
import os
import random
import threading

import pytest

from handbell.base.errors import HandbellError
from handbell.base.files import beside
from handbell.base.places import data_folder
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.starts import Starts
from handbell.boxes.classes.stations import StationMap
from handbell.cli.main import main
from handbell.coach.advice.limits import load_limits
from handbell.coach.library.shelf import load_library
from handbell.store.people.forget_files import forget_in_files
from handbell.virtual.clock import load_clock

NOW_MS = 1_790_000_000_000
SOON_MS = NOW_MS + 60_000
SOUND = {
    "starts.json": {"aa": [3, SOON_MS], "bb": [4, SOON_MS, SOON_MS + 60_000]},
    "stations.json": {"1": {"box": "aa", "label": "Door"}, "2": {"box": "bb", "label": ""}},
    "class.json": {
        "title": "Evening",
        "places": {
            "1": {"digest": "aa", "box": "aa", "state": "armed", "start_utc_ms": SOON_MS},
            "2": {"digest": "bb", "box": "", "state": "left out", "start_utc_ms": 0},
        },
        "gates": 1,
        "grid_s": 30,
    },
    "clock.json": {
        "start_utc_us": NOW_MS * 1000,
        "base_us": 0,
        "base_mono_us": 0,
        "speed": 1,
        "boxes": {"1": "socket://127.0.0.1:9"},
    },
}
# Written into JSON text as they are.
WILD = (
    *("null", "true", "0", "-1", "3.5", "1e999", "NaN", "-Infinity", "1e30", '"1"', '""', "[]"),
    *("{}", "[[]]", '{"a": 1}', '"\\ud800"', '"\\u0663"', '"\\u001b[2J\\n"', "9" * 5000),
    *(str(2**63), "253402300800000", "-99999999999999999999", "[" * 20_000, '"' + "x" * 5000 + '"'),
)


def places(value, here=()):
    yield here
    pairs = enumerate(value) if isinstance(value, list) else ()
    for key, one in value.items() if isinstance(value, dict) else pairs:
        yield from places(one, (*here, key))


def with_text(value, place, text: str) -> str:
    """Return the JSON of a value with something else at a place."""
    if not place:
        return text
    value = copy.deepcopy(value)
    inner = value
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = "(here)"
    return json.dumps(value).replace('"(here)"', text)


def broken_texts(sound):
    """Give every wild value at every place, odd keys, and bytes gone wrong at random."""
    for place in places(sound):
        for text in WILD:
            yield with_text(sound, place, text).encode()
    whole = json.dumps(sound)
    for key in ("-1", "1e9", "", "\\ud800", "\u0663", "9" * 5000):
        yield whole.replace('"1"', f'"{key}"').replace('"aa": [', f'"{key}": [').encode()
    rng = random.Random(7)
    for _ in range(300):
        data = bytearray(whole.encode())
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(data))
            data[at : at + rng.randrange(3)] = bytes([rng.choice(b'{}[]",:09eE-.\\u\xff\x00')])
        yield bytes(data)


def use_starts() -> None:
    starts = Starts(NOW_MS)
    starts.words().encode()
    starts.save()
    starts.words()


def use_map() -> None:
    there = StationMap()
    for number, station in there.stations.items():
        f"{number:>3} {station.box[-4:]} {station.label.strip()}".encode()
    there.number_of("bb")
    there.place(3, "cc")
    there.save()


def use_class() -> None:
    session = Session(NOW_MS)
    session.taken_back({"aa"})
    session.collected({"aa"})
    sent = session.last()
    with contextlib.suppress(HandbellError):
        sent.without({1})
    f"{sent.title.strip()} {sent.stations} {sent.gates + 0} {sent.grid_s + 0}".encode()
    session.keep(sent)


def use_clock() -> None:
    clock = load_clock(data_folder() / "clock.json")
    f"{clock.mono_us() + 0} {clock.utc_us() + 0}".encode()


USES = {
    "starts.json": use_starts,
    "stations.json": use_map,
    "class.json": use_class,
    "clock.json": use_clock,
}


@pytest.mark.parametrize("name", SOUND)
def test_a_damaged_file_ends_in_a_sentence_that_names_it_or_in_nothing(name, monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda _: None)  # thousands of times
    path = data_folder() / name
    path.parent.mkdir()
    told = 0
    for data in broken_texts(SOUND[name]):
        path.write_bytes(data)
        try:
            USES[name]()
        except HandbellError as error:
            assert str(path) in str(error), data[:200]
            told += 1
        except Exception as error:
            raise AssertionError(f"{data[:200]!r}") from error
    assert told or name == "starts.json"


@pytest.mark.parametrize("name", SOUND)
def test_forgetting_a_name_passes_no_damaged_file_in_silence(name, tmp_path):
    path = tmp_path / name
    for data in broken_texts(SOUND[name]):
        path.write_bytes(data)
        _, warnings = forget_in_files(tmp_path, "Uma", dry_run=True)
        try:
            json.loads(data.decode())
        except (ValueError, RecursionError):
            assert str(path) in warnings[0], data[:200]


@pytest.mark.parametrize("bad", ["[1e999]", "[4, 1e999]", "[4, 99999999999999999]", "[]", "7"])
def test_one_start_that_cant_be_read_hides_no_other(bad):
    path = data_folder() / "starts.json"
    path.parent.mkdir()
    path.write_text(f'{{"bb": {bad}, "aa": [3, {SOON_MS}]}}', encoding="utf-8")
    starts = Starts(NOW_MS)
    assert "Station 3 may still start at" in starts.words()
    assert f"{path} is damaged" in starts.words()
    assert "a box that is not plugged in may still start" in starts.words()


def test_damaged_starts_are_said_until_they_are_written_anew(capsys):
    path = data_folder() / "starts.json"
    path.parent.mkdir()
    path.write_text('{"aa": [3, 17', encoding="utf-8")
    words = ["arm", "--cancel", "--port", "socket://127.0.0.1:9"]
    assert main(words) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "starts.json is damaged" in said and "plug in and run handbell arm --cancel" in said
    assert json.loads(path.read_text(encoding="utf-8")) == {}
    assert main(words) == 1
    assert "damaged" not in capsys.readouterr().out


def test_a_box_that_says_it_starts_in_no_year_there_is_has_no_start():
    starts = Starts(NOW_MS)
    starts.expect("aa", 3, 2**53)
    assert starts.words() == ""


def test_a_label_that_is_no_text_is_refused_and_the_map_stays(tmp_path):
    """As a shell hands over bytes that are not UTF-8."""
    there = StationMap()
    there.place(1, "aa", "Door")
    there.save()
    before = there.path.read_bytes()
    there.place(1, "aa", "Door \udcff")
    with pytest.raises(HandbellError, match="can't be written"):
        there.save()
    assert there.path.read_bytes() == before
    assert [p.name for p in there.path.parent.iterdir()] == ["stations.json"]


def test_two_programs_that_write_one_file_at_once_leave_a_whole_one():
    faults = []

    def write(n: int) -> None:
        try:
            for _ in range(20):
                Session(0).keep(LoadedClass.of("x" * (4000 * n), {1: "aa"}, {1: "aa"}))
        except HandbellError as error:
            faults.append(error)

    threads = [threading.Thread(target=write, args=(n,)) for n in (1, 2, 3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == [] and set(Session(0).last().title) == {"x"}
    assert [p.name for p in data_folder().iterdir()] == ["class.json"]


@pytest.mark.parametrize("read", [load_library, load_limits], ids=["library", "thresholds"])
@pytest.mark.parametrize("number", ["9" * 5000, "1e999", "nan", "[" * 5000, "1979-99-99"])
def test_a_number_that_is_too_long_is_told_with_its_file(tmp_path, read, number):
    path = tmp_path / "own.toml"
    path.write_text(f"[x]\nkey = {number}\n", encoding="utf-8")
    with pytest.raises(HandbellError, match=r"own\.toml"):
        read(path)


def test_forgetting_takes_what_interrupted_work_left_behind_if_the_name_stands_in_it(tmp_path):
    gone = [beside(tmp_path / "stations.json"), tmp_path / "partial" / "box1-0a1b"]
    stays = [beside(tmp_path / "library.toml"), tmp_path / "partial" / "box2-0a1b"]
    (tmp_path / "partial").mkdir()
    for path in gone:
        path.write_bytes(b'\xff\x00{"label": "Uma\'s box')
    for path in stays:
        path.write_bytes(b'\xff\x00{"label": "Umag')
    assert forget_in_files(tmp_path, "Uma", dry_run=True)[0] == sorted(map(str, gone))
    assert all(path.exists() for path in gone)
    forget_in_files(tmp_path, "Uma")
    assert not any(path.exists() for path in gone) and all(path.exists() for path in stays)
