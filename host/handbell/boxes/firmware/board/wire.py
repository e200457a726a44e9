"""Put before scripts that need a jumper from the sounder to button 1: is there one?"""
# mypy: ignore-errors
# ruff: noqa: F821

SETTLE_MS = 5


def wired():
    """Return whether the button's pin follows the sounder's; leaves the sounder low."""
    out, pin = board.sounders()[0], board.button(0)
    out.freq(100_000)
    follows = True
    for duty, reads in ((0, 0), (65_535, 1)) * 3:
        out.duty_u16(duty)
        time.sleep_ms(SETTLE_MS)
        follows = follows and pin() == reads
    out.duty_u16(0)
    return follows


NO_JUMPER = "no jumper between the buzzer's pin and button 1's"
