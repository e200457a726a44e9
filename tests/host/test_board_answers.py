"""What a board prints at its prompt: nothing odd in it becomes a path, a traceback or a raw sign."""

import random

import pytest
from fake_board import FakeBoard
from test_bench import PORT, CannedPrompt, good_answers

from handbell.base.errors import BoxError
from handbell.boxes.firmware import answers
from handbell.boxes.firmware.flashing import kept
from handbell.measure.measure import Bench
from handbell.measure.sheet import sheet

SOUND = {
    answers.survey: ("micropython", (1, 28, 0), "Raspberry Pi Pico with RP2040", 6, False),
    answers.look: ("fw_a", "fw_b2", {"fw_a/begin.mpy": "0" * 64, "main.py": "1" * 64}),
    answers.state: ("Raspberry Pi Pico with RP2040", "handbell image 0.2.0 pico", "fw_a", 3),
}
ODD = (
    *("../../x", "/tmp/x", "\x1b[2J", "x" * 5000, "", None, True, -1, 10**40, 1.5, float("inf")),
    *([], [1], ["\x1b"], {}, {"a": 1}, {1: 2}, {"../x": "0" * 64}, {"a": []}, (), b"x", set(), ...),
)
FIGURES = [value for value in ODD if value is not ... and value != float("inf") and value != set()]
TEXTS = (
    "",
    "x",
    "(",
    "1",
    "None",
    "()",
    "[" * 5000,
    "{" * 90,
    "(1, 2",
    "9" * 5000,
    "'\\ud800'",
    "\x00",
)


def printed(value) -> str:
    return repr(value).replace("inf", "1e999")


def values(message) -> list:
    return [*vars(message).values()] if hasattr(message, "__dict__") else [message]


@pytest.mark.parametrize("read", SOUND)
def test_an_odd_answer_is_refused_or_made_harmless(read):
    sound = SOUND[read]
    odd = [
        printed((*sound[:n], value, *sound[n + 1 :])) for n in range(len(sound)) for value in ODD
    ]
    odd += [printed(sound[:-1]), printed((*sound, 1)), *TEXTS]
    assert read(PORT, printed(sound) + "\r\n")
    refused = 0
    for said in odd:
        try:
            message = read(PORT, said)
        except BoxError as error:
            assert "this board does not answer as MicroPython does" in str(error)
            refused += 1
            continue
        for value in values(message):
            for text in value if isinstance(value, dict) else [value]:
                assert not isinstance(text, str) or (text.isprintable() and len(text) <= 200)
    assert refused > len(odd) // 3


def test_an_images_name_never_becomes_a_path_elsewhere(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "data"))
    (tmp_path / "data" / "images").mkdir(parents=True)
    (tmp_path / "x-y.uf2").write_bytes(b"")
    machine, _, active, runs = SOUND[answers.state]
    with pytest.raises(BoxError):
        answers.state(PORT, repr((machine, "a b ../../x y", active, runs)))
    assert kept("a b 0.1 y") is None


def test_a_fault_on_import_is_read_as_a_text():
    assert answers.fault(PORT, "'ImportError: \\x1b[2J'\r\n") == "ImportError: ?[2J"
    assert answers.fault(PORT, "''") == ""
    for said in ("", "1", "['x']", "'a', 'b'"):
        with pytest.raises(BoxError):
            answers.fault(PORT, said)


@pytest.mark.parametrize("seed", range(4))
def test_odd_figures_are_not_measured_and_the_sheet_is_written(seed, monkeypatch):
    rng = random.Random(seed)
    said = good_answers()
    for figures in said.values():
        for key in figures:
            if rng.random() < 0.5:
                figures[key] = rng.choice(FIGURES)
    said["board"] = {"machine": rng.choice(FIGURES), "free_kb": rng.choice(FIGURES)}
    bench = Bench(PORT, open_prompt=lambda url: CannedPrompt(said))
    monkeypatch.setattr("handbell.boxes.firmware.prepare.ask_to_yield", lambda *_, **__: "")
    monkeypatch.setattr(Bench, "_meet", lambda self: None)
    monkeypatch.setattr(Bench, "_by_link", lambda self: None)
    bench.run()
    assert bench.readings and all(
        r.value is None or abs(r.value) < 1e15 for r in bench.readings.values()
    )
    assert "\x1b" not in sheet(bench)


def test_a_sound_board_is_read_as_it_is(tmp_path, micropython):
    """The same code on real MicroPython: what it prints is what is read."""
    board = FakeBoard(tmp_path, micropython)
    look = answers.look(PORT, board.prompt().run("print(repr(('', '', {})))"))
    assert look == answers.Look("", "", {})
