"""Firmware onto a board: fresh, again, cut off anywhere, refused; the box always starts."""

import ast
import json
import os
import subprocess
import sys
from dataclasses import replace

import pytest
import sound_replies
from fake_board import AFTER, BEFORE, TORN, FakeBoard

from handbell.base.digest import whole_hex
from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.firmware import files as firmware
from handbell.boxes.firmware import prepare
from handbell.boxes.firmware.files import Image
from handbell.boxes.firmware.inline_names import bound_names
from handbell.boxes.firmware.prompt import NoPromptError, SerialPrompt
from handbell.boxes.link.messages import Hello
from handbell.boxes.link.replies import HELLO as HELLO_KIND
from handbell.cli.main import main
from handbell_core import faults

ROOT = firmware.firmware_root()
MAIN = (ROOT / "main.py").read_bytes()
OLD_MAIN = b"""
import sys
with open("active", "rb") as f:
    active = f.read(8).decode()
sys.path.insert(0, active)
import begin
begin.main()
"""
BEGIN = """
import machine
from box.app import run
from box.trial import Trial
from handbell_core import same
def main():
    print(run())
    trial = Trial()
    if trial.pending:
        {on_trial}
"""
STANDS = "trial.stand()"  # as when a host has heard it
BITTEN = "machine.reset()"  # as the watchdog does to one that hangs


def small_image(version: str, main: bytes = MAIN, on_trial: str = STANDS) -> Image:
    """A small firmware that prints its version; two files differ between versions."""
    real = ("box/loop.py", "box/trial.py", "handbell_core/ticks.py")
    sources = {path: (ROOT / path).read_text(encoding="utf-8") for path in real}
    sources |= {
        "begin.py": BEGIN.format(on_trial=on_trial),
        "box/__init__.py": "",
        "box/app.py": f"from box.parts import NAME\ndef run(): return NAME + {version!r}\n",
        "box/parts.py": "NAME = 'firmware '\n",
        "handbell_core/__init__.py": "same = 1\n",
    }
    return image_of(main, sources)


def image_of(main: bytes, sources: dict[str, str]) -> Image:
    files = {
        path[:-3] + ".mpy": firmware._compile(path, text.encode()) for path, text in sources.items()
    }
    files[firmware.LISTING] = firmware.listing({p: whole_hex(d) for p, d in files.items()})
    return Image(main, files)


@pytest.fixture(scope="session")
def old():
    return small_image("1")


@pytest.fixture(scope="session")
def new():
    return small_image("2", MAIN + b"# and a newer main.py\n")


@pytest.fixture
def board(tmp_path, micropython):
    return FakeBoard(tmp_path / "board", micropython)


def put(board, image, cut_at=-1, tear=BEFORE):
    """Install as ``prepare`` does, and restart."""
    prompt = board.prompt(cut_at, tear)
    try:
        done = prepare.install("the port", prompt, image)
        prompt.restart()
    finally:
        prompt.close()
    return done


def test_a_fresh_board_gets_all_of_it_and_starts(board, old):
    assert board.start() == "prompt"
    done = put(board, old)
    assert (done.sent, done.copied, done.folder) == (len(old.files), 0, "fw_a")
    assert board.said == "firmware 1"
    assert board.start() == "firmware 1"
    assert board.restarts == 1


def test_again_there_is_nothing_to_do(board, old):
    put(board, old)
    before = board.files()
    board.log.clear()
    done = put(board, old)
    assert done.nothing_to_do
    assert board.files() == before
    assert len(board.log) == 1, "one look is all it takes"


def test_only_what_changed_is_sent_and_the_rest_copied_on_the_board(board, old, new):
    put(board, old)
    done = put(board, new)
    assert (done.sent, done.copied, done.folder) == (2, len(old.files) - 2, "fw_b")
    assert board.start() == "firmware 2"
    done = put(board, small_image("3"))
    assert (done.sent, done.copied, done.folder) == (2, 0, "fw_a")
    assert "trial" not in board.files()
    assert board.start() == "firmware 3"


def test_the_old_firmware_starts_when_the_new_one_is_lost(board, old, new):
    put(board, old)
    put(board, new)
    (board.flash / "fw_b" / "box" / "app.mpy").unlink()
    assert board.start().splitlines()[-1] == "firmware 1"
    put(board, new)
    assert board.start() == "firmware 2"
    assert board.files()["active"] == b"fw_b", "the folder that ran was left alone"


def test_a_stray_source_file_does_not_shadow_what_was_sent(board, old):
    (board.flash / "fw_a").mkdir()
    (board.flash / "fw_a" / "begin.py").write_text("def main(): print('stray')")
    put(board, old)
    assert board.start() == "firmware 1"


def test_what_is_the_boxs_own_is_left_alone(board, old, new):
    own = {"box.json": b'{"station": 3}', "runs/00001.hbj": b"taps", "timelines/part": b"half"}
    for path, data in own.items():
        (board.flash / path).parent.mkdir(exist_ok=True)
        (board.flash / path).write_bytes(data)
    put(board, old)
    put(board, new)
    assert own.items() <= board.files().items()


def cuts(board, image):
    """Return every way to cut a board off on its way to an image: (operation, how it is torn).

    After an operation is before the next, and only a write can be torn, so each state that a cut
    can leave comes once. The board itself is brought to the image.
    """
    put(board, image)
    last = board.operations - 1
    assert last > 9
    torn = {(k, TORN) for k in board.writes}
    return sorted({(k, BEFORE) for k in range(last + 1)} | torn | {(last, AFTER)})


def test_cut_off_at_any_step_an_old_box_starts_and_a_second_run_finishes(board, old, new, tmp_path):
    put(board, old)
    seen = set()
    for k, tear in cuts(board.copy(tmp_path / "count"), new):
        cut = board.copy(tmp_path / f"cut{k}{tear}")
        with pytest.raises(BoxError, match="stopped answering"):
            put(cut, new, k, tear)
        seen.add(cut.start())
        put(cut, new)
        assert cut.start() == "firmware 2", (k, tear)
        assert put(cut, new).nothing_to_do
    assert seen == {"firmware 1", "firmware 2"}


def test_cut_off_at_any_step_a_fresh_board_keeps_its_prompt_and_a_second_run_finishes(
    board, old, tmp_path
):
    seen = set()
    for k, tear in cuts(board.copy(tmp_path / "count"), old):
        cut = board.copy(tmp_path / f"cut{k}{tear}")
        with pytest.raises(BoxError):
            put(cut, old, k, tear)
        said = cut.start()
        # Without a folder named, main.py says that there is no firmware and leaves the prompt.
        seen.add("prompt" if "no module named 'begin'" in said else said)
        put(cut, old)
        assert cut.start() == "firmware 1", (k, tear)
    assert seen == {"prompt", "firmware 1"}


def test_a_firmware_that_does_not_start_on_the_board_is_never_switched_to(board, old):
    put(board, old)
    broken = image_of(MAIN, {"begin.py": "import nowhere"})
    with pytest.raises(BoxError, match=r"does not start on this board.*nowhere"):
        put(board, broken)
    assert board.start() == "firmware 1"
    put(board, small_image("3"))
    assert board.start() == "firmware 3"


def test_a_file_that_does_not_arrive_whole_is_told_and_never_switched_to(board, old, new):
    put(board, old)
    board.wears_out = "fw_b/box/app.mpy"
    with pytest.raises(BoxError, match=r"box/app\.mpy did not arrive whole"):
        put(board, new)
    board.wears_out = "main.new"
    with pytest.raises(BoxError, match=r"main\.py did not arrive whole"):
        put(board, new)
    assert board.start() == "firmware 1"


def test_the_real_firmware_is_compiled_whole_and_small():
    image = firmware.build_image(6)
    assert {"begin.mpy", "box/app.mpy", "boards/pico2.mpy", "handbell_core/runner.mpy"} <= set(
        image.files
    )
    assert not [path for path in image.files if path.endswith(".py")]
    # Two folders of it, in a Pico's 1.4 MB, leave most of the room for logs.
    assert sum(map(len, image.files.values())) < 117_000


def test_lines_are_left_out_unless_they_are_asked_for():
    image, with_lines = firmware.build_image(6), firmware.build_image(6, lines=True)
    assert image.files.keys() == with_lines.files.keys()
    sizes = [sum(map(len, files.values())) for files in (image.files, with_lines.files)]
    assert sizes[0] < sizes[1] * 0.95


def test_constants_are_put_in_but_those_that_the_bench_asks_for_stay():
    sources = firmware.shortened()
    assert b"TOO_LATE_US" not in sources["box/app.py"]
    asked = 0
    for code in firmware.PROMPT_CODE.glob("*.py"):
        for node in ast.walk(ast.parse(code.read_text(encoding="utf-8"))):
            path = (getattr(node, "module", "") or "").replace(".", "/") + ".py"
            if path in sources:
                bound = set(bound_names(ast.parse(sources[path])))
                assert {alias.name for alias in node.names} <= bound, path
                asked += len(node.names)
    assert asked > 8


# On trial


@pytest.mark.parametrize(
    ("on_trial", "starts"),
    [
        ("raise ValueError('of the new one')", 1),
        (BITTEN, 2),
        ("import nowhere", 1),
        ("raise MemoryError", 1),
    ],
)
def test_a_firmware_that_does_not_stand_its_trial_brings_the_old_one_back(
    board, old, on_trial, starts
):
    put(board, old)
    new = small_image("2", on_trial=on_trial)
    for _ in range(2):  # once more does no harm
        done = put(board, new)
        assert done.folder == "fw_b"
        assert board.said.splitlines() == [*["firmware 2"] * starts, "firmware 1"]
        assert board.start() == "firmware 1"
        files = board.files()
        assert files["active"] == b"fw_a" and "trial" not in files
        assert (b"on trial" in files.get("trouble.txt", b"")) == (on_trial != BITTEN)
    put(board, small_image("3"))
    assert board.start() == "firmware 3"
    assert "trouble.txt" not in board.files(), "it told of another firmware"


def test_a_firmware_on_trial_runs_under_the_watchdog_and_the_active_one_does_not(board, old, new):
    put(board, old)
    (board.flash / "watched").unlink()
    board.start()
    assert not (board.flash / "watched").exists()
    put(board, new)
    assert (board.flash / "watched").exists()


def test_on_a_board_without_another_firmware_a_failed_trial_leaves_the_prompt(board):
    put(board, small_image("1", on_trial=BITTEN))
    assert "no module named 'begin'" in board.said
    assert "no module named 'begin'" in board.start()
    put(board, small_image("2"))
    assert board.start() == "firmware 2"


def test_a_trial_that_was_broken_off_is_tried_again_and_by_prepare_too(board, old):
    put(board, old)
    unheard = small_image("2", on_trial="pass")
    put(board, unheard)
    assert board.said == "firmware 2"
    assert board.files()["trial"] == b"fw_b1"
    done = put(board, unheard)
    assert (done.sent, done.folder) == (0, "fw_b")
    assert board.files()["trial"] == b"fw_b1"
    assert board.start() == "firmware 2"
    assert board.start() == "firmware 1"


def test_going_back_while_a_newer_one_is_on_trial_ends_the_trial(board, old):
    put(board, old)
    put(board, small_image("2", on_trial="pass"))
    assert put(board, old).folder == ""
    assert board.start() == "firmware 1"


def test_the_one_that_runs_is_left_alone_when_the_active_one_is_not_whole(board, old, new):
    put(board, old)
    put(board, new)
    (board.flash / "fw_b" / "box" / "app.mpy").write_bytes(b"")
    put(board, small_image("3", on_trial=BITTEN))
    assert board.files()["active"] == b"fw_a"
    assert board.start() == "firmware 1"


@pytest.mark.parametrize("cut", ["counted", "torn", "stood", "standing", "trial left"])
def test_power_cut_at_any_of_the_boards_own_writes_leaves_a_board_that_starts(board, old, new, cut):
    """Each write of the board is aside and renamed: these are all the states between."""
    put(board, old)
    prompt = board.prompt()
    prepare.install("the port", prompt, new)
    flash = board.flash
    if cut == "torn":  # as main.py counts
        (flash / "trial.new").write_bytes(b"fw")
    if cut == "counted":
        (flash / "trial").write_bytes(b"fw_b0")
    if cut == "standing":
        (flash / "active.new").write_bytes(b"f")
    if cut == "trial left":
        (flash / "active").write_bytes(b"fw_b")
    if cut == "stood":
        (flash / "active").write_bytes(b"fw_b")
        (flash / "trial").unlink()
    assert board.start() == ("firmware 1" if cut == "counted" else "firmware 2")
    put(board, new)
    assert board.start() == "firmware 2"
    assert board.start() == "firmware 2"
    assert put(board, new).nothing_to_do


def test_a_flash_that_takes_no_count_starts_the_old_one(board, old, new):
    put(board, old)
    prompt = board.prompt()
    prepare.install("the port", prompt, new)
    (board.flash / "trial.new").mkdir()
    assert board.start().splitlines()[-1] == "firmware 1"


@pytest.mark.parametrize("with_trial", [True, False])
def test_a_main_py_of_before_trials_starts_the_active_one(board, old, new, with_trial):
    """A board that was prepared before there were trials, at any step of getting one."""
    put(board, old)
    (board.flash / "main.py").write_bytes(OLD_MAIN)
    assert board.start() == "firmware 1"
    if with_trial:
        (board.flash / "trial").write_bytes(b"fw_b2")
        assert board.start() == "firmware 1"
    put(board, new)
    assert board.start() == "firmware 2"
    assert board.files()["main.py"] == new.main


def greeted(monkeypatch, hellos, erred=()):
    box = FakeBox({"hello": hellos, "status": [{"erred": said} for said in erred]})
    monkeypatch.setattr(prepare, "Connection", box)
    return prepare.greet("the port", FakeClock(), "fw_b", "start 3, draw: ValueError")


def test_prepare_waits_until_the_new_firmware_stands(monkeypatch):
    trial = HELLO | {"folder": "fw_b", "trial": True}
    stands = HELLO | {"folder": "fw_b"}
    assert greeted(monkeypatch, [0, trial, 0, trial, trial, stands]).folder == "fw_b"


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("start 3, draw: ValueError", "since the new one did not answer"),
        ("", "since the new one did not answer"),
        ("start 5, draw: OSError", "which says of it: start 5, draw: OSError"),
        ("fw_b on trial: ImportError: x", "which says of it: fw_b on trial: ImportError: x"),
    ],
)
def test_prepare_says_that_the_old_firmware_came_back_and_why(monkeypatch, said, why):
    trial = HELLO | {"folder": "fw_b", "trial": True}
    for hellos in ([trial, HELLO], [0, HELLO], [{**HELLO, "folder": ""}]):
        with pytest.raises(BoxError, match="failed its trial") as caught:
            greeted(monkeypatch, hellos, [said])
        assert why in str(caught.value)


# Logs that nobody could read afterwards


@pytest.mark.parametrize("jn", [0, 3, 0x13])
def test_no_firmware_is_renewed_while_logs_wait_that_nobody_would_read(monkeypatch, jn):
    hello = HELLO | {"jn": jn}
    box = FakeBox({"hello": hello, "status": {}, "list": {"n": 2}, "yield": {}})
    monkeypatch.setattr(prepare, "Connection", box)
    with pytest.raises(BoxError, match=r"holds 2 logs of version .* Run handbell collect first"):
        prepare.prepare("the port", FakeClock(), open_prompt=pytest.fail)
    assert "yield" not in box.asked


@pytest.mark.parametrize(("jn", "waiting"), [(1, 2), (0x11, 2), (2, 2), (0x12, 2), (4, 0)])
def test_logs_that_can_be_read_and_a_box_without_logs_keep_no_firmware_away(
    monkeypatch, board, old, jn, waiting
):
    box = FakeBox({"hello": HELLO | {"jn": jn}, "status": {}, "list": {"n": waiting}, "yield": {}})
    monkeypatch.setattr(prepare, "Connection", box)
    prepare.prepare(
        "the port", FakeClock(), open_prompt=lambda url: board.prompt(), build=lambda version: old
    )
    assert board.start() == "firmware 1"


# Refusals


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        (("micropython", (1, 25, 0), "Raspberry Pi Pico with RP2040", 6), "1.25.0 is too old"),
        (("micropython", (1, 28, 0), "Generic ESP32 module with ESP32", 6), "ESP32"),
        (("micropython", (1, 28, 0), "Raspberry Pi Pico W with RP2040", 6), "without W"),
        (("micropython", (1, 28, 0), "", 6), "stranger"),
        (("circuitpython", (9, 2, 0), "Raspberry Pi Pico with rp2040", 0), "runs circuitpython"),
    ],
)
def test_a_wrong_board_or_an_old_runtime_is_refused_before_anything_is_written(board, facts, why):
    board.facts = facts
    with pytest.raises(BoxError, match=why):
        prepare.check("the port", board.prompt())
    assert board.files() == {}


@pytest.mark.parametrize(
    "machine", ["Raspberry Pi Pico with RP2040", "Raspberry Pi Pico2 with RP2350"]
)
def test_the_picos_are_taken(board, machine):
    board.facts = ("micropython", (1, 26, 0), machine, 6)
    assert prepare.check("the port", board.prompt()) == 6


def test_another_board_of_the_family_is_taken_with_a_board_file_of_its_own(board):
    board.facts = ("micropython", (1, 28, 0), "Some Board with RP2040", 6)
    with pytest.raises(BoxError, match=r"docs/makers/boards\.md"):
        prepare.check("the port", board.prompt())
    (board.flash / "board_local.py").write_text("")
    assert prepare.check("the port", board.prompt()) == 6


def test_what_answers_but_not_as_micropython_does_is_told_so(board):
    prompt = board.prompt()
    prompt.run = lambda code: "?!"
    with pytest.raises(BoxError, match="does not answer as MicroPython"):
        prepare.check("the port", prompt)


def test_a_runtime_that_loads_other_mpy_files_is_refused():
    with pytest.raises(HandbellError, match="version 5 and the mpy-cross"):
        firmware.build_image(5)


class FakeBox:
    """A box on the link: answers with what a table says, a code being a refusal."""

    def __init__(self, answers):
        self.answers, self.asked = answers, []

    def __call__(self, url, clock=None):
        return self

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def hello(self, tries=3):
        return self.ask(HELLO_KIND)

    def ask(self, kind, tries=4, **fields):
        return sound_replies.read(kind, fields, self.request(kind.do))

    def request(self, do):
        self.asked.append(do)
        answer = self.answers.get(do, 0)
        if isinstance(answer, list):  # one answer after another
            answer = answer.pop(0) if answer else 0
        if isinstance(answer, int):
            raise BoxError("box", "no", code=answer)
        return answer


class FakeClock:
    """Time passes only while somebody waits."""

    now_us = 0

    def mono_us(self):
        return self.now_us

    def sleep(self, seconds):
        self.now_us += round(seconds * 1e6)


HELLO = {
    "ln": 1,
    "tl": 2,
    "jn": 1,
    "folder": "fw_a",
    "id": sound_replies.ID,
    "board": "pico",
    "fw": "1",
    "py": "1.28.0",
    "station": 0,
    "label": "",
}


def test_a_box_in_class_is_left_alone(monkeypatch):
    box = FakeBox({"hello": HELLO, "yield": faults.BUSY})
    monkeypatch.setattr(prepare, "Connection", box)
    with pytest.raises(BoxError, match="in a class, which nothing may stop"):
        prepare.prepare("the port", open_prompt=pytest.fail)


def test_a_virtual_box_is_left_alone(monkeypatch):
    box = FakeBox({"hello": HELLO | {"board": "virtual"}, "yield": {}})
    monkeypatch.setattr(prepare, "Connection", box)
    with pytest.raises(BoxError, match="virtual"):
        prepare.prepare("the port", open_prompt=pytest.fail)
    assert box.asked == ["hello"]


def test_a_box_that_rests_is_asked_to_yield_then_prepared_then_heard(monkeypatch, board, old):
    box = FakeBox({"hello": HELLO, "yield": {}})
    monkeypatch.setattr(prepare, "Connection", box)
    told = []
    done = prepare.prepare(
        "the port",
        FakeClock(),
        progress=lambda *step: told.append(step),
        open_prompt=lambda url: board.prompt(),
        build=lambda version: old,
    )
    assert box.asked == ["hello", "status", "yield", "hello"]
    assert done.who.id == sound_replies.ID and done.sent == len(old.files)
    assert told[-1] == ("the port", "files", len(old.files), len(old.files))
    assert board.start() == "firmware 1"


def test_a_box_that_stays_silent_afterwards_is_told(monkeypatch, board, old):
    monkeypatch.setattr(prepare, "Connection", FakeBox({}))
    clock = FakeClock()
    with pytest.raises(BoxError, match="verified, and the box does not answer"):
        prepare.prepare(
            "the port", clock, open_prompt=lambda url: board.prompt(), build=lambda version: old
        )
    assert clock.now_us >= prepare.TRIAL_S * 1e6
    assert board.start() == "firmware 1"


# The real transport, and the command


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pty")
def test_a_port_that_is_no_micropython_explains_how_to_get_it(monkeypatch, capsys):
    """On a pty whose other side only echoes; prepare gives up soon and says what to do."""
    import threading
    import tty

    leader, follower = os.openpty()
    tty.setraw(follower)

    def echo():
        try:
            while data := os.read(leader, 256):
                os.write(leader, data)
        except OSError:
            pass

    threading.Thread(target=echo, daemon=True).start()
    monkeypatch.setattr("handbell.boxes.link.connection.REPLY_S", 0.1)
    monkeypatch.setattr("handbell.boxes.firmware.prompt.ENTER_S", 0.5)
    try:
        assert main(["prepare", os.ttyname(follower)]) == 1
    finally:
        os.close(follower)
        os.close(leader)
    out, err = capsys.readouterr()
    assert not out
    assert "neither a box nor MicroPython answers" in err
    assert "BOOTSEL" in err and "RPI_PICO" in err and "Traceback" not in err


def test_a_port_that_is_not_there_is_one_sentence(capsys):
    assert main(["prepare", "/dev/no-such-port"]) == 1
    assert "there is no such port" in capsys.readouterr().err


def test_without_a_port_the_only_board_is_meant(monkeypatch, capsys):
    monkeypatch.setenv("HANDBELL_PORTS", "/dev/one /dev/two")
    assert main(["prepare"]) == 1
    assert "2 boards are plugged in: /dev/one, /dev/two" in capsys.readouterr().err


def test_a_prompt_that_can_not_be_opened_raises_in_our_words():
    with pytest.raises(BoxError):
        SerialPrompt("/dev/no-such-port")
    assert issubclass(NoPromptError, BoxError)


def test_the_command_hangs_the_box_and_says_what_it_is(monkeypatch, capsys):
    box = FakeBox({"hello": HELLO, "name": {}})
    who = Hello(sound_replies.ID, firmware="1", board="pico", python="1.28.0")
    done = prepare.Prepared(sent=5, folder="fw_a", who=who)
    monkeypatch.setattr("handbell.boxes.firmware.prepare.prepare", lambda *_, build: done)
    monkeypatch.setattr("handbell.boxes.link.connection.Connection", box)
    assert main(["prepare", "the port", "--station", "3", "--label", "Door"]) == 0
    assert f"Box {who.id} on the port: station 3, Door; firmware 1" in capsys.readouterr().out
    assert box.asked == ["name"]
    # Prepared anew, it hangs where it hung; a second box takes its place and makes it a spare.
    assert main(["prepare", "the port", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["data"]["box"]["station"] == 3
    # How many buttons are fitted is the box's to say from then on, though it hangs nowhere.
    box.answers["hello"] = HELLO | {"buttons": 2}
    assert main(["prepare", "the port", "--buttons", "2"]) == 0
    assert box.asked[-2:] == ["name", "hello"] and ", 2 buttons." in capsys.readouterr().out
    done.who = replace(who, id="cd34")
    assert main(["prepare", "the port", "--station", "3"]) == 0
    assert f"{who.id} is now a spare" in capsys.readouterr().out
    done.who = replace(who, id="ef56")
    assert main(["prepare", "the port", "--label", "Stairs"]) == 1
    assert "hangs at no station" in capsys.readouterr().err


def test_a_box_becomes_a_remote_and_a_box_again(monkeypatch, capsys):
    logs = {**sound_replies.SOUND["status"], "runs": 2}
    box = FakeBox({"hello": HELLO, "name": {}, "status": {}})
    who = Hello(sound_replies.ID, buttons=4)
    done = prepare.Prepared(who=who)
    started = []

    def restart(port, clock):
        started.append(port)
        return replace(who, remote=not done.who.remote)

    monkeypatch.setattr("handbell.boxes.firmware.prepare.prepare", lambda *_, build: done)
    monkeypatch.setattr("handbell.boxes.firmware.prepare.restart", restart)
    monkeypatch.setattr("handbell.boxes.link.connection.Connection", box)
    assert main(["prepare", "the port", "--station", "3"]) == 0
    assert main(["prepare", "the port", "--remote", "--station", "3"]) == 2
    box.asked.clear()
    assert main(["prepare", "the port", "--remote"]) == 0
    assert f"Box {who.id} on the port: a remote; firmware" in capsys.readouterr().out
    assert box.asked == ["status", "name"] and started == ["the port"]
    assert main(["stations"]) == 0 and who.id not in capsys.readouterr().out
    # It stays one until it is given a station; whose its logs are hangs on what it is.
    done.who = replace(who, remote=True)
    assert main(["prepare", "the port"]) == 0
    assert "a remote" in capsys.readouterr().out and len(started) == 1
    box.answers["status"] = logs
    assert main(["prepare", "the port", "--station", "2"]) == 1
    assert "it holds 2 logs. Run handbell collect first" in capsys.readouterr().err
    box.answers["status"] = {}
    assert main(["prepare", "the port", "--station", "2"]) == 0
    assert "station 2" in capsys.readouterr().out and len(started) == 2


def test_a_box_that_rests_is_started_anew(monkeypatch, board, old):
    box = FakeBox({"hello": HELLO | {"remote": 1}, "yield": {}})
    monkeypatch.setattr(prepare, "Connection", box)
    who = prepare.restart("the port", FakeClock(), open_prompt=lambda url: board.prompt())
    assert who.remote and board.restarts == 1
    assert box.asked == ["hello", "status", "yield", "hello"]


# mip


def test_package_json_lists_the_firmware():
    """mip's format: urls are pairs of where a file goes below /lib, and where it is."""
    names = sorted(firmware.sources())
    wanted = {
        "urls": [["../main.py", "main.py"], *([name, name] for name in names)],
        "version": "0.1.0",
    }
    place = firmware.firmware_root() / "package.json"
    if os.environ.get("HANDBELL_UPDATE_PACKAGE"):
        place.write_text(json.dumps(wanted, indent=2) + "\n", encoding="utf-8")
    assert json.loads(place.read_text(encoding="utf-8")) == wanted, (
        "run this test once with HANDBELL_UPDATE_PACKAGE=1"
    )


def test_what_mip_installs_starts(board, tmp_path):
    """Laid out as mip does, with the modules in /lib and main.py beside it."""
    assert board.execute("import sys; print(sys.path)").returncode == 0
    lib = board.flash / "lib"
    lib.mkdir()
    for path, data in small_image("1").files.items():
        (lib / path).parent.mkdir(exist_ok=True)
        (lib / path).write_bytes(data)
    (board.flash / "main.py").write_bytes(MAIN)
    done = subprocess.run(
        [*board.micropython, "main.py"],
        cwd=board.flash,
        env={"MICROPYPATH": ":lib"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.strip() == "firmware 1", done.stderr
