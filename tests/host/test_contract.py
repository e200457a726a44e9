"""What ``--json`` prints is what its schema says, error or not (JSON Schema 2020-12, jsonschema)."""

import functools
import json
import shutil

import jsonschema
import pytest
from made_plans import EXAMPLES

from handbell.cli import contract
from handbell.cli.main import main
from handbell.cli.table import COMMANDS


@pytest.fixture(autouse=True)
def made_once(monkeypatch):
    """The schema of all commands takes most of a second to make, and is the same every time."""
    monkeypatch.setattr(contract, "schema", _schema)


_schema = functools.cache(contract.schema)


def told(capsys, *words):
    code = main([*map(str, words), "--json"])
    out = capsys.readouterr().out
    said = json.loads(out)
    jsonschema.Draft202012Validator(contract.for_command(words[0])).validate(said)
    assert said["ok"] == (code == 0)
    return said


def test_the_schema_is_current_and_sound():
    assert contract.PATH.read_text(encoding="utf-8") == contract.schema_text(), (
        f"run {contract.COMMAND} --write"
    )
    check = jsonschema.Draft202012Validator.check_schema
    check({"$defs": _schema()["$defs"]})
    for name in COMMANDS:
        own = contract.for_command(name)
        assert own.pop("$defs") == _schema()["$defs"]
        check(own)


@pytest.mark.parametrize("name", COMMANDS)
def test_a_wrong_option_is_an_error_in_json_too(name, capsys):
    assert main([name, "--no-such-option", "--json"]) == 2
    out, err = capsys.readouterr()
    said = json.loads(out)
    assert (said["version"], said["ok"], err) == (contract.CONTRACT, False, "")
    assert said["error"]["what"] and said["error"]["remedy"]


PLAN = EXAMPLES["rotation"]
PLANS = [
    ["check", PLAN, "--against", EXAMPLES["harbour"], "--sources"],
    ["show", PLAN],
    ["show", PLAN, "--box", 2],
    ["show", PLAN, "--expanded"],
    ["cards", PLAN, "--out", "{tmp}"],
    ["rehearse", PLAN, "--to", "0:30", "--out", "{tmp}/x.wav"],
    ["fit", EXAMPLES["three-block"], "--minutes", "20", "--first-timers"],
    ["fit", EXAMPLES["three-block"], "--minutes", "5"],
    ["fit", EXAMPLES["three-block"], "--easier"],
    ["order", EXAMPLES["straps"], "--by", "station"],
    ["exercises", "push"],
    ["exercises", "plank"],
    ["swap", EXAMPLES["three-block"], "--without", "bench"],
    ["swap", EXAMPLES["three-block"], "--because", "sore", "--where", "knee"],
    ["swap", EXAMPLES["rotation"], "--bib", "11", "--because", "too-hard"],
]


@pytest.mark.parametrize("words", [["doctor"], ["completion", "zsh"], ["identify"], *PLANS])
def test_results_and_errors_are_as_the_schema_says(words, capsys, tmp_path):
    told(capsys, *(str(word).replace("{tmp}", str(tmp_path)) for word in words))


AFTER_CLASS = [
    ["report"],
    ["report", "--list"],
    ["report", "--athlete", "Ada", "--html", "ada.html"],
    ["report", "--group"],
    ["report", "77"],
    ["bibs", "1", "1=Otto", "--absent", "2"],
    ["amend", "1", "--bib", "3", "--name", "Mina", "--why", "wore it"],
    ["amend", "1"],
    ["class", "1"],
    ["class", "1", "--delete", "--yes"],
    ["advise"],
    ["history"],
    ["history", "Ada"],
    ["history", "Nobody"],
    ["roster", "names.csv"],
    ["roster", "names.csv", "--dry-run"],
    ["roster", "--wear", "newest"],
    ["roster"],
    ["forget", "Ada", "--yes"],
    ["export", "tables"],
    ["export", "all.zip"],
    ["import", "none.zip"],
    ["unread"],
    ["unread", "1f0c22aa", "--again"],
    ["store", "check"],
    ["store", "backup"],
    ["store", "restore", "copy.sqlite"],
]


@pytest.mark.parametrize("words", AFTER_CLASS, ids=" ".join)
def test_what_comes_after_class_is_as_the_schema_says(
    words, demo_out, tmp_path, monkeypatch, capsys
):
    for name in ("store", "copy"):
        shutil.copy(demo_out / "store.sqlite", tmp_path / f"{name}.sqlite")
    (tmp_path / "names.csv").write_text("name,bib\nUma,9\n", encoding="utf-8")
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    monkeypatch.chdir(tmp_path)
    refused = words in (["report", "77"], ["history", "Nobody"], ["import", "none.zip"])
    assert told(capsys, *words)["ok"] is not refused


def test_a_bundle_that_was_taken_in_is_as_the_schema_says(demo_out, tmp_path, capsys):
    bundle, new = tmp_path / "all.zip", tmp_path / "new.sqlite"
    told(capsys, "export", bundle, "--store", demo_out / "store.sqlite")
    said = told(capsys, "import", bundle, "--store", new)
    assert said["data"]["runs_new"] == 4 and said["data"]["backup"] is None
