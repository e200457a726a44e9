"""Builds the box from its board and runs it until the prompt is asked for."""

import sys


def pick_board():
    """Return this box's board module: a local one where there is one, else by the machine."""
    try:
        import board_local

        return board_local
    except ImportError:
        from boards import pico

        return pico


def main() -> None:
    """Run the box; leaving it hands the serial line back to MicroPython's prompt."""
    from box.app import App

    app = App(pick_board())
    try:
        app.run()
    except KeyboardInterrupt:
        pass
    finally:
        app.sound.hush()
        app.log.close()
        app.link.close()


try:
    main()
except Exception as error:  # noqa: BLE001 - the prompt must stay reachable, with the reason
    sys.print_exception(error)
