"""What people write instead of TOML, a file each: line, place and a remedy that mends it."""

import json
import random
import re
from pathlib import Path

import pytest

from handbell.base import toml
from handbell.base.errors import PlanError
from handbell.plan.files import load_plan, parse_plan
from handbell.plan.schema import PATH as SCHEMA
from handbell.plan.slips import mended, stranger
from handbell.plan.slips.keys import KEYS, TABLES

FOLDER = Path(__file__).parent / "slips"
RIGHT = FOLDER / "right.toml"
FILES = sorted(path for path in FOLDER.glob("*.toml") if path != RIGHT)
# Where nobody can know what was meant, what is proposed is not what stands in the right file.
ANOTHER_SENSE = {"inner-quotes", "apostrophe", "backslash", "open-then-comment"}


def followed(text: str, faults: list[str]) -> str:
    """Return a text in which every remedy was carried out as it is printed."""
    lines = text.split("\n")
    for fault in faults:
        head, said, mark, *rest = fault.split("\n")
        number = int(re.match(r"line (\d+): ", head)[1]) - 1
        assert said.strip() in lines[number].replace("\t", " ")
        assert re.fullmatch(r" +\^+", mark) and len(mark) <= len(said) + 1
        over = re.search(r"\(lines (\d+) to (\d+)\)", head)
        if rest == ["    take this line out"]:
            lines[number] = ""
            continue
        assert rest[0] == "    write:"
        lines[number] = "\n".join(line[6:] for line in rest[1:])
        for other in range(number + 1, int(over[2]) if over else 0):
            lines[other] = ""
    return "\n".join(lines)


def test_there_are_a_hundred_of_them():
    assert len(FILES) >= 100
    load_plan(RIGHT)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_slip_gets_line_place_and_a_remedy_that_mends_it(path):
    text = path.read_text(encoding="utf-8")
    with pytest.raises(toml.TOMLDecodeError):
        toml.loads(text)
    with pytest.raises(PlanError) as told:
        load_plan(path)
    mended = followed(text, told.value.faults)
    plan = parse_plan(mended.encode(), str(path))
    if path.stem not in ANOTHER_SENSE:
        assert toml.loads(mended) == toml.loads(RIGHT.read_text(encoding="utf-8"))
    assert plan.blocks


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"PK\x03\x04\x14\x00", "this is a spreadsheet, a text document or another packed file"),
        (b"%PDF-1.7\n", "this is a PDF"),
        (b"\x89PNG\r\n", "this is a picture"),
        (b"SQLite format 3\0", "this is a store or another database"),
        (b"Exercise;Reps\nSquat;10\nPlank;3\n", "this is a table of a spreadsheet (CSV)"),
        (b"Exercise,Reps\nSquat,10\n", "this is a table of a spreadsheet (CSV)"),
        (b"<!DOCTYPE html>\n<p>Squat</p>", "this is a web page"),
        (b'{"title": "Monday"}', "this is JSON"),
        ("title".encode("utf-16"), "the text is UTF-16"),
        ("title = 1".encode("utf-16-le"), "the text is UTF-16"),
        (b"title\0", "this is no text"),
    ],
)
def test_what_is_no_plan_at_all_is_named(data, what):
    with pytest.raises(PlanError) as told:
        parse_plan(data)
    (fault,) = told.value.faults
    assert fault.startswith(f"{what}; ")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_plan_is_taken_for_something_else(path):
    assert stranger(path.read_bytes()) == ""


def test_every_key_of_a_plan_is_known():
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    tables = [schema, *schema["$defs"].values()]
    tables += [
        t["properties"]["exercise"]["items"] for t in tables if "exercise" in t["properties"]
    ]
    known = {key for table in tables for key in table.get("properties", {})}
    names = {name.rpartition(".")[2] for name in TABLES}
    assert known - names == KEYS - {"every"}


def mangled(text: str, rng: random.Random) -> str:
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(text))
        if rng.random() < 0.5:
            text = text[:at] + text[at + rng.randint(1, 9) :]
        else:
            text = text[:at] + rng.choice("\"'[](){}=,;:#\n .-\\/“x0\u00a0") + text[at:]
    return text


@pytest.mark.parametrize("seed", range(20))
def test_whatever_is_mended_can_be_read_and_all_else_is_told(seed):
    rng = random.Random(seed)
    texts = [path.read_text(encoding="utf-8") for path in [RIGHT, *FILES]]
    for _ in range(25):
        text = mangled(rng.choice(texts), rng)
        slips, right = mended(text)
        try:
            toml.loads(text)
        except toml.TOMLDecodeError:
            assert slips
            assert all(slip.words().startswith(f"line {slip.line}: ") for slip in slips)
        else:
            assert slips == []
        if right is not None:
            toml.loads(right)
        else:
            assert any(slip.instead is None for slip in slips)
