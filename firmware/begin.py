"""Builds the box from its board and runs it until the prompt is asked for."""

import gc
import sys

CLEAR_BYTES = 32 * 1024  # of 240 KB
# Held while modules and parts are made, then given back, so that a class finds much memory in one
# piece: they would lie all over it. Where it is in the way it is given back at once.
clear = []
try:
    clear.append(bytearray(CLEAR_BYTES))
except MemoryError:
    pass


def give_back() -> bool:
    """Give back what is kept clear; return whether there was any."""
    had = bool(clear)
    clear.clear()
    gc.collect()
    return had


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
    try:
        from box.app import App
    except MemoryError as error:
        if not give_back():
            raise error
        for name in list(sys.modules):
            if name.split(".")[0] in ("box", "handbell_core"):
                del sys.modules[name]
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
        try:
            return App(BOARD)
        except MemoryError as error:
            if not give_back():
                raise error
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
    give_back()
    try:
        app.run()
    except KeyboardInterrupt:
        pass
    finally:
        app.end()
