"""Builds the box from its board and runs it until the prompt is asked for."""

import gc
import sys

# While modules and parts are made garbage is collected often, so that they lie close together and
# a class finds its memory in one piece; then only the loop collects.
gc.threshold(8_192)


def pick_board():
    """Return this box's board module: a local one where there is one, else by the machine."""
    try:
        import board_local

        return board_local
    except ImportError:
        pass
    if "RP2350" in sys.implementation._machine:
        from boards import pico2

        return pico2
    from boards import pico

    return pico


BOARD = broken = None
try:  # on import, so that a firmware which is not whole is passed over
    BOARD = pick_board()
    from box.app import App
except Exception as error:  # noqa: BLE001 - a broken file can raise anything
    from box.trial import is_last

    if not is_last():
        raise error
    broken = error


def make():
    """Return the box, or what answers in its place; on trial raises what keeps it from starting."""
    try:
        if broken is not None:
            raise broken
        return App(BOARD)
    except Exception as error:  # noqa: BLE001 - any of its parts may be broken
        from box.trial import is_pending

        if is_pending():
            raise error  # main.py goes back to the firmware before
        from box.safe import Safe

        return Safe(BOARD, error)


def main() -> None:
    """Run the box; leaving it hands the serial line back to MicroPython's prompt."""
    app = make()
    gc.threshold(-1)
    gc.collect()
    try:
        app.run()
    except KeyboardInterrupt:
        pass
    finally:
        app.end()
