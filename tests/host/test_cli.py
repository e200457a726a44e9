"""The command line: help, exit codes, streams, and no traceback whatever a tired coach types."""

import errno
import io
import json
import os
import re
import subprocess
import sys

import pytest
from made_plans import EXAMPLES

from handbell.base import places
from handbell.cli.main import COMMANDS, main


def run(*words, **env):
    command = [sys.executable, "-m", "handbell.cli.main", *words]
    return subprocess.run(
        command, capture_output=True, text=True, check=False, env={**os.environ, **env}, timeout=60
    )


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_examples_and_json(command):
    with pytest.raises(SystemExit) as told:
        main([command, "--help"])
    assert told.value.code == 0


@pytest.mark.parametrize("command", COMMANDS)
def test_help_shows_examples(command, capsys):
    with pytest.raises(SystemExit):
        main([command, "--help"])
    out = capsys.readouterr().out
    assert "example" in out and f"handbell {command}" in out and "--json" in out


def test_every_help_starts_without_heavy_imports():
    code = (
        "import sys; from handbell.cli.main import main; from handbell.cli.table import COMMANDS\n"
        "heavy = {'asyncio', 'email', 'http', 'multiprocessing', 'sqlite3', 'subprocess', 'xml'}\n"
        "ours = set(sys.stdlib_module_names) - heavy | {'handbell', '__main__'}\n"
        "began = set(sys.modules)\n"
        "for words in [['--help'], *([name, '--help'] for name in COMMANDS)]:\n"
        "    try: main(words)\n"
        "    except SystemExit: pass\n"
        "    new = {name.partition('.')[0] for name in set(sys.modules) - began} - ours\n"
        "    if new: print(words[0], *sorted(new), file=sys.stderr)\n"
        "    began = set(sys.modules)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert "handbell check" in done.stdout


@pytest.mark.parametrize(
    "words",
    [
        ["check", str(EXAMPLES["harbour"])],
        ["exercises", "plank"],
        ["history"],
        ["store", "check"],
        ["stations"],
    ],
)
def test_a_data_folder_that_cannot_be_read_is_a_sentence(words, monkeypatch, capsys):
    # A name too long is refused to everybody; to root nothing is forbidden.
    monkeypatch.setenv("HANDBELL_DATA", "/" + "x" * 300)
    monkeypatch.delenv("HANDBELL_STORE", raising=False)
    assert main(words) == 1
    told = capsys.readouterr().err
    assert told.startswith("The data folder /xxx") and told.count("\n") == 1, told
    assert "name another with HANDBELL_DATA" in told


def test_no_command_or_a_wrong_one_is_used_wrongly(capsys):
    assert main([]) == 2
    assert "Plan\n" in capsys.readouterr().out
    assert main(["chekc", "x.toml"]) == 2
    assert capsys.readouterr().err == "chekc is no command. The nearest is handbell check.\n"


@pytest.mark.parametrize(
    "words",
    [
        ["check", "no-such-file.toml"],
        ["check", "."],
        ["send", "no-such-file.toml"],
        ["boxes"],
        ["boxes", "--port", "/dev/no-such-port"],
        ["boxes", "--port", "socket://127.0.0.1:1"],
        ["identify", "99", "--port", "/dev/no-such-port"],
        ["stations", "3"],
        ["stations", "x=y"],
        ["arm", "--in", "5m"],
        ["arm", "--in", "soon"],
        ["collect"],
        ["report"],
        ["report", "77"],
        ["bibs", "77", '7="Mina"'],
        ["virtual", "99"],
    ],
)
def test_a_mistake_is_one_plain_sentence(words, capsys):
    code = main(words)
    out, err = capsys.readouterr()
    assert code in (1, 2)
    assert "Traceback" not in out + err
    told = (err or out).strip()
    assert told and told.endswith("."), told


def test_piped_output_has_no_colour(demo_out):
    done = run("report", "--store", str(demo_out / "store.sqlite"))
    assert done.returncode == 0 and "\x1b" not in done.stdout


def test_json_is_json(demo_out):
    done = run("report", "--json", "--store", str(demo_out / "store.sqlite"))
    assert json.loads(done.stdout)["data"]["report"]["title"] == "Harbour loop"
    assert done.stderr == ""


@pytest.mark.parametrize("wrapped", [False, True])
def test_who_stops_a_command_gets_an_answer_in_json_too(wrapped, monkeypatch, capsys):
    def stop(*_):
        if not wrapped:
            raise KeyboardInterrupt
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as error:  # as Python does where a class is being made
            raise RuntimeError("Error calling __set_name__") from error

    monkeypatch.setattr("handbell.work.planning.check.check", stop)
    assert main(["check", "plan.toml", "--json"]) == 130
    said = json.loads(capsys.readouterr().out)
    assert said["ok"] is False and said["error"]["what"] == "Stopped"


def test_a_place_that_may_not_be_looked_at_is_a_sentence(tmp_path, capsys):
    long = tmp_path / ("x" * 300) / "plan.toml"
    for words in (["check", long], ["new", long], ["report", "--store", long]):
        assert main([str(word) for word in words]) == 1
        assert "fault of its own" not in capsys.readouterr().err


def test_a_data_folder_in_the_settings_file_is_one_folder_wherever_one_stands(
    tmp_path, monkeypatch
):
    settings = tmp_path / "settings.toml"
    monkeypatch.delenv("HANDBELL_DATA", raising=False)
    monkeypatch.setenv("HANDBELL_SETTINGS", str(settings))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    settings.write_text('data = "~/bells"\n')
    assert places.data_folder() == tmp_path / "home" / "bells"
    settings.write_text('data = "bells"\n')
    assert places.data_folder() == tmp_path / "bells"
    assert places.state_folder() == tmp_path / "bells" / "state"


def test_completion_leaves_file_names_in(capsys):
    assert main(["completion", "bash"]) == 0
    said = capsys.readouterr().out
    for place in ("_check_pos_0_COMPGEN", "_report___store_COMPGEN", "_cards___out_COMPGEN"):
        assert re.search(rf"{place}=_shtab_compgen_files", said), place


@pytest.mark.parametrize("words", [["--version"], ["--help"], ["check", "--help"]])
def test_a_full_disk_is_told_by_version_and_help_too(words, monkeypatch, capsys, tmp_path):
    class Full(io.StringIO):
        def flush(self):
            raise OSError(errno.ENOSPC, "No space left on device")

        def fileno(self):
            return place.fileno()

    with (tmp_path / "out").open("w") as place:
        monkeypatch.setattr("sys.stdout", Full())
        assert main(words) == 1
    said = capsys.readouterr().err
    assert "can't be written (No space left on device)" in said and said.count("\n") == 1
    assert "fault of its own" not in said


def test_an_option_before_the_command_is_told_where_it_stands(capsys):
    assert main(["--store", "x", "report"]) == 2
    said = capsys.readouterr().err
    assert said == "--store stands before the command. handbell report --store x.\n"


@pytest.mark.parametrize("module", ["handbell.cli.main", "argparse"])
def test_who_stops_it_before_it_has_begun_sees_nothing(module):
    code = (
        "import os, runpy, signal, sys\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "class Stopping:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name == {module!r}: os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Stopping())\n"
        "sys.argv = ['handbell', '--version']\n"
        "runpy.run_module('handbell', run_name='__main__')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, b"", b"")


def test_what_nobody_reads_is_no_traceback():
    words = f"{sys.executable} -m handbell nosuch --json"
    done = subprocess.run(f"{words} > /dev/full", shell=True, capture_output=True, check=False)
    assert done.returncode == 2 and b"Traceback" not in done.stderr
