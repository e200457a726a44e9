"""What comes down the serial line in class: junk, Ctrl-C, a program that wants the prompt."""

import random
import statistics
import sys

import pytest

ROUNDS = 1
BELL_US = 1_000  # the greatest a bell may be late
PROMPT_S = 60  # of real time; mpremote gives up after 10

CONTROL = bytes(n for n in range(32) if n != 10) + b"\x7f\x1b[2J\x1b[6n\x1b]0;x\x07"


def noise() -> dict[str, bytes]:
    """Return what is sent in turn: the first three for a second or two each, the last to the end.

    No Ctrl-C is left when the class ends: a box at rest would give its prompt to the next one.
    """
    chance = random.Random(5)
    return {
        "Ctrl-C": b"\x03" * 1_000,
        "random bytes": chance.randbytes(20_000),
        "control characters": CONTROL * 200,
        "a line without end": b"z" * 1_000_000,
    }


def check_class(box, start_us: float, bound_us: int, run: bytes) -> list[float]:
    """Check that every cue rang in time and every press counted; return how late the bells were.

    How far the box's clock is off is the same for every bell: the median of them.
    """
    from emulated_class import counted, dues, taps

    onsets = [tone.onset_us - start_us for tone in box.sounder.tones()]
    late_us = [min((at - due.class_ms * 1000 for at in onsets), key=abs) for due in dues(ROUNDS)]
    off_us = statistics.median(late_us)
    assert abs(off_us) < BELL_US + bound_us
    late_us = [late - off_us for late in late_us]
    assert max(map(abs, late_us)) < BELL_US, late_us
    pressed = box.buttons[0].pressed_us
    assert len(taps(run)) == len(pressed) == counted(run) > 0
    return late_us


def armed(image, files):
    """Return a box in whose class the button is pressed, its start, and its clock's bound."""
    from emulated_box import EmulatedBox
    from emulated_class import press_through, timeline

    box = EmulatedBox(image, files)
    box.until_ready()
    digest = box.send(timeline(ROUNDS))
    bound_us = box.set_clock()
    start_us = box.arm(digest, in_s=3)
    press_through(box, start_us, ROUNDS)
    return box, start_us, bound_us


def end_of(start_us: float) -> float:
    from emulated_class import class_length_ms

    return start_us + class_length_ms(ROUNDS) * 1000


def test_noise_in_class_moves_no_cue_and_loses_no_tap(image, files):
    box, start_us, bound_us = armed(image, files)
    box.run_to(start_us + 4_500_000)
    before = box.wire.taken
    for data in noise().values():
        box.write(data)
    box.run_to(end_of(start_us) - 500_000)
    taken = box.wire.taken - before
    box.wire.drop()
    box.run_to(end_of(start_us) + 3_000_000)
    box.write(b"\n")
    assert box.request("status")["fault"] == 0
    (run,) = box.journals()
    late_us = check_class(box, start_us, bound_us, run)
    for kind, data in noise().items():
        assert taken > 0, f"no time was left for {kind}"
        print(f"\n{kind}: {min(taken, len(data))} bytes taken")
        taken -= len(data)
    print(f"bells from their median: {min(late_us):.0f} to {max(late_us):.0f} us")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pty")
def test_mpremote_takes_over_a_box_at_rest(image, files, tmp_path):
    from emulated_box import EmulatedBox
    from emulated_bridge import Bridge

    box = EmulatedBox(image, files)
    box.until_ready()
    ended = mpremote(Bridge(box, tmp_path / "cable"))
    assert (ended.code, ended.out.strip()) == (0, "1"), ended


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pty")
def test_mpremote_gets_nowhere_in_class_and_the_class_goes_on(image, files, tmp_path):
    from emulated_bridge import Bridge

    box, start_us, bound_us = armed(image, files)
    box.run_to(start_us + 3_000_000)
    ended = mpremote(Bridge(box, tmp_path / "cable"))
    assert ended.code == 1 and "could not enter raw repl" in ended.out + ended.err, ended
    assert start_us < box.now_us < end_of(start_us) - 500_000, "its time went beyond the class"
    box.run_to(end_of(start_us) + 3_000_000)
    box.write(b"\n")
    (run,) = box.journals()
    check_class(box, start_us, bound_us, run)


def mpremote(cable):
    command = [sys.executable, "-m", "mpremote", "connect", str(cable.port), "exec", "print(1)"]
    return cable.run(command, PROMPT_S)
