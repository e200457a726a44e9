"""A short part of ``odd_box.py``: odd replies and noise against every command; run it for more."""

import odd_box
import pytest
from noises import BABBLES, NOISES


@pytest.mark.parametrize("seed", [1, 2])
def test_no_odd_reply_breaks_a_command_or_the_box_beside_it(seed):
    assert odd_box.odd_replies(20, seed) == []


EVERY = [*NOISES, *BABBLES]


@pytest.mark.parametrize("n", range(6))
def test_no_noise_breaks_a_command_or_the_box_beside_it(n):
    """Each noise against one command; all against all take minutes."""
    with odd_box.lab() as lab:
        commands = [*odd_box.ASKS]
        for at, name in enumerate(EVERY[n::6]):
            command = commands[(n + at + 5) % len(commands)]
            lab.reset(command)
            lab.odd.wire = NOISES.get(name)
            lab.odd.babble = BABBLES.get(name, b"")
            lab.attack(command, name)
        assert lab.faults == []


@pytest.mark.parametrize("name", BABBLES)
def test_a_board_that_talks_without_end_holds_nobody_up(name):
    assert odd_box.noises([name], ["prepare PORT", "measure PORT"]) == []


def test_the_lab_notices_a_box_that_is_not_served_and_a_fault_of_our_own(monkeypatch):
    with odd_box.lab() as lab:
        lab.reset("collect")
        lab.sound.lies["drop"] = lambda *_: {"no": 36}
        lab.sound.lies["list"] = lambda *_: {"n": 0}
        lab.attack("collect", "the sound box says that it is empty")
        assert "the sound box was not served" in lab.faults[0]
        lab.faults.clear()
        lab.reset("identify")
        monkeypatch.setattr("handbell.work.upkeep.identify.strangers", lambda fleet: fleet[0])
        lab.attack("identify", "a fault of our own")
        assert "TypeError" in lab.faults[0]
