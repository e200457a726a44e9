"""Builds the box from its board and runs it until the prompt is asked for."""

import sys

from box.app import App


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


BOARD = pick_board()  # on import, so that a firmware whose board module is broken is passed over


def main() -> None:
    """Run the box; leaving it hands the serial line back to MicroPython's prompt."""
    app = App(BOARD)
    try:
        app.run()
    except KeyboardInterrupt:
        pass
    finally:
        app.end()
