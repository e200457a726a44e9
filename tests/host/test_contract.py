"""What ``--json`` prints is what its schema says, error or not (JSON Schema 2020-12, jsonschema)."""

import json

import jsonschema
import pytest

from handbell.cli import contract
from handbell.cli.main import OLD, main
from handbell.cli.table import COMMANDS

PORTED = [name for name in COMMANDS if name not in OLD]


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
    for name in PORTED:
        jsonschema.Draft202012Validator.check_schema(contract.for_command(name))


@pytest.mark.parametrize("name", COMMANDS)
def test_a_wrong_option_is_an_error_in_json_too(name, capsys):
    assert main([name, "--no-such-option", "--json"]) == 2
    out, err = capsys.readouterr()
    said = json.loads(out)
    assert (said["version"], said["ok"], err) == (contract.CONTRACT, False, "")
    assert said["error"]["what"] and said["error"]["remedy"]


@pytest.mark.parametrize("words", [["doctor"], ["completion", "zsh"], ["identify"]])
def test_results_and_errors_are_as_the_schema_says(words, capsys):
    told(capsys, *words)
