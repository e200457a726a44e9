"""Power cut in class on the chip's real flash commands, and what the next start finds."""

import pytest

CUT_US = 11_000_000  # of the class: the window is over, and its last taps are to be stored
STORED_US = 5_000_000  # a tap is in the flash this long after it at most
HOLD_US = 1_530_000  # a hold is known then
START_US = 5_000_000  # and without a clock the class begins so much later
NEAR_A_WRITE_MS = 150  # the time of a press that a write hid is off by this at most


@pytest.mark.parametrize("kind", ["program", "erase"])
def test_a_cut_in_class_keeps_what_was_stored_and_the_box_starts_by_hand(image, files, kind):
    from emulated_box import EmulatedBox
    from emulated_class import press_through, taps, timeline
    from emulated_parts import ERASE_US, PROGRAM

    box = EmulatedBox(image, files)
    box.until_ready()
    digest = box.send(timeline(1))
    box.set_clock()
    start_us = box.arm(digest, in_s=3)
    press_through(box, start_us, 1)
    box.run_to(start_us + CUT_US)
    wanted = (PROGRAM,) if kind == "program" else tuple(ERASE_US)
    box.flash.cuts = lambda number, op: op in wanted
    box.run_to(start_us + 17_000_000)
    assert box.flash.is_dead
    cut_us = box.now_us

    again = EmulatedBox(image, box.files())
    again.until_ready()
    status = again.request("status")
    assert status["state"] == "ready" and status["sel"] == digest and not status["clock"]
    (run,) = again.journals()
    kept = [ms for ms, _ in taps(run)]
    old = [at for at in box.buttons[0].pressed_us if at < cut_us - STORED_US]
    assert old
    for press in old:
        assert min(abs(ms - (press - start_us) / 1000) for ms in kept) < NEAR_A_WRITE_MS
    print(f"\n{kind}: cut {(cut_us - start_us) / 1e6:.1f} s into the class, {len(kept)} taps kept")

    first_us = again.now_us + 100_000
    held_us = first_us + 2_500_000
    for at_us in (first_us, held_us):
        again.buttons[0].press(at_us, hold_us=1_700_000)
    again.run_to(first_us + 2_200_000)
    assert again.request("status")["state"] == "again"
    again.run_to(held_us + 2_500_000)
    assert again.request("status")["state"] == "set"
    again.run_to(held_us + HOLD_US + START_US + 1_000_000)
    status = again.request("status")
    assert (status["state"], status["runs"]) == ("play", 1), "one run waits, another is open"
    onsets = [tone.onset_us - held_us - HOLD_US - START_US for tone in again.sounder.tones()]
    assert min(map(abs, onsets)) < 60_000, onsets
