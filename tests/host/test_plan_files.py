"""Plan files: reading them, the manual's examples, the schema, letters a box can't draw."""

import hashlib
import json
from pathlib import Path

import pytest
from made_plans import DOCS, EXAMPLES, IN_MANUAL, MANUAL

from handbell.base.errors import PlanError
from handbell.compile import build
from handbell.plan import schema
from handbell.plan.files import load_plan, parse_plan
from handbell.plan.remarks import remarks
from handbell.plan.texts import drawable

MINIMAL = 'title = "T"\n[[block]]\n[[block.exercise]]\nname = "A"\nwork_s = 30\n'


def fault_of(path):
    with pytest.raises(PlanError) as caught:
        load_plan(path)
    assert caught.value.path == str(path)
    (fault,) = caught.value.faults
    return fault


def test_file_faults(tmp_path):
    assert fault_of(tmp_path / "no.toml") == (
        "there is no such file; check the name and the folder"
    )
    assert fault_of(tmp_path) == "this is a folder; name the plan file in it"
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'# one\ntitle = "Z\xfcrich"\n')
    assert fault_of(latin) == "line 2: the text is not UTF-8; save the file as UTF-8"
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (1 << 20) + b"\n")
    assert fault_of(large) == "the file is over 1 MiB; that is no plan, name another"
    assert "can't be read" in fault_of(Path("nul\0byte"))


def test_a_file_of_just_1_mib_is_read(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_bytes(MINIMAL.encode() + b"#" * ((1 << 20) - len(MINIMAL)))
    assert load_plan(path).title == "T"


def test_line_ends_and_byte_order_mark_change_nothing(tmp_path):
    lf = parse_plan(MINIMAL.encode())
    crlf = parse_plan(MINIMAL.replace("\n", "\r\n").encode())
    assert crlf.digest == lf.digest == hashlib.sha256(MINIMAL.encode()).digest()[:12]
    assert crlf.source == lf.source == MINIMAL.encode()
    assert parse_plan(b"\xef\xbb\xbf" + MINIMAL.encode()).title == "T"


@pytest.mark.parametrize("path", EXAMPLES.values(), ids=EXAMPLES)
def test_examples_compile_without_a_warning(path):
    assert build(load_plan(path)).warnings == []


@pytest.mark.parametrize("text", IN_MANUAL)
def test_the_manuals_plans_compile(text):
    build(parse_plan(text.encode()))


def test_the_manual_names_every_key():
    page = MANUAL
    keys = set()
    for table in [json.loads(schema.schema_text()), *_tables()]:
        keys |= set(table.get("properties", ()))
    missing = {key for key in keys if f"`{key}`" not in page and f"[{key}]" not in page}
    assert missing - {"exercise", "label", "bibs"} == set()


def _tables():
    return json.loads(schema.schema_text())["$defs"].values()


def test_examples_use_what_a_class_may_need():
    harbour = load_plan(DOCS / "examples" / "harbour.toml")
    exercises = [e for block in harbour.blocks for e in block.exercises]
    assert {e.tap.rule for e in exercises} == {"each", "every", "finish", "tally", "drop"}
    assert len(harbour.groups) == 4
    assert sum(len(group.bibs) for group in harbour.groups) == 8
    assert harbour.warm_up and harbour.cool_down
    assert 14 * 60_000 <= build(harbour).totals.slot_ms <= 16 * 60_000


def test_committed_schema_is_current(tmp_path, monkeypatch, capsys):
    assert schema.main(["--check"]) == 0
    stale = tmp_path / "plan.schema.json"
    stale.write_text("{}\n", encoding="utf-8")
    monkeypatch.setattr(schema, "PATH", stale)
    assert schema.main(["--check"]) == 1
    assert "python -m handbell.plan.schema --write" in capsys.readouterr().err
    assert schema.main(["--write"]) == 0
    assert schema.main(["--check"]) == 0


def test_schema_knows_the_keys_of_the_file_not_of_the_model():
    text = schema.schema_text()
    found = json.loads(text)
    exercise = found["$defs"]["Exercise"]
    assert "work_s" in exercise["properties"] and "work" not in exercise["properties"]
    assert exercise["additionalProperties"] is False
    assert exercise["required"] == ["name", "work_s"]
    assert found["required"] == ["title", "block"]
    assert "_ms" not in text and "null" not in text


LETTERS = {
    "Élan ñandú": "Élan ñandú",  # Latin-1 as it is
    "Żuraw": "Zuraw",
    "e\u0301lan": "élan",  # composed
    "a\u200bb\u202ec\u2066d\ufeff": "abcd",
    "tab\there\nnow": "tab here now",
    "c1\x85\x9b!": "c1 !",
    "soft\xadhyphen": "softhyphen",
    "5\xa0kg": "5 kg",
    "“Press” – 2×": '"Press" - 2×',
    "  two   words ": "two words",
    "\ue000\U000e0041": "",
}


@pytest.mark.parametrize(("text", "drawn"), LETTERS.items())
def test_letters(text, drawn):
    assert drawable(text) == drawn
    drawable(text).encode("latin-1")


@pytest.mark.parametrize("text", ["深蹲", "Приседания", "💪", "שכיבות", "𝕁𝕦𝕞𝕡"])
def test_other_scripts_are_transliterated(text):
    drawn = drawable(text)
    assert drawn.isascii() and drawn.isprintable() and drawn


def test_warnings_name_place_before_and_after():
    plan = parse_plan(
        'title = "Żuraw"\nbuttons = 1\n'
        '[[group]]\nname = "Dry\u200bdock"\nbibs = [1, 2]\n'
        '[[block]]\n[[block.exercise]]\nname = "Twenty-two characters!"\nwork_s = 30\n'
        "reps = [10, 9]\ntap = { every = 2 }\n".encode()
    )
    assert remarks(plan) == [
        'title: "Żuraw" is shown as "Zuraw" on the boxes',
        'group 1, name: "Dry\\u200bdock" is shown as "Drydock" on the boxes',
        'block 1, exercise 1, name: "Twenty-two characters!" has 22 characters and a line of the '
        "box holds 21; it will be cut",
        "group 1, bibs: 2 bibs share 1 button; they take turns window by window, since turns is "
        'not written (turns = "window" or "round")',
        "block 1, exercise 1, tap: 9 reps are not a multiple of 2; the target counts as made at "
        "tap 5, after 10 reps",
    ]


def test_a_name_that_grows_too_long_is_refused():
    with pytest.raises(PlanError) as caught:
        parse_plan(MINIMAL.replace('"A"', f'"{"ß" * 32}щ"').encode())
    (fault,) = caught.value.faults
    assert fault.startswith("block 1, exercise 1, name: ")
    assert fault.endswith("characters long; shorten it to 32")
