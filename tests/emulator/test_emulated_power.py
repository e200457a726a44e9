"""Power cut in class on the chip's real flash commands, and what the next start finds."""


def test_a_cut_in_class_keeps_what_was_stored(image, files):
    from emulated_box import EmulatedBox
    from emulated_class import press_through, taps, timeline
    from emulated_parts import Flash

    flash = Flash()
    box = EmulatedBox(image, files, flash)
    box.until_ready()
    digest = box.send(timeline(1))
    box.set_clock()
    start_us = box.arm(digest)
    press_through(box, start_us, 1)
    box.run_to(start_us + 8_000_000)
    flash.cut_after = len(flash.ops) + 1
    box.run_to(start_us + 16_000_000)
    assert flash.is_dead
    cut_us = box.now_us

    again = EmulatedBox(image, box.files())
    again.until_ready()
    status = again.request("status")
    assert status["state"] == "ready" and status["sel"] == digest and not status["clock"]
    (run,) = again.journals()
    kept = [ms for ms, _ in taps(run)]
    old = [p for p in box.buttons[0].pressed_us if p < cut_us - 5_000_000]
    assert old
    for press in old:
        assert min(abs(ms - (press - start_us) / 1000) for ms in kept) < 150
