"""``handbell``, and ``python -m handbell``: from its first line on Ctrl-C is no traceback."""

import os
import signal
import sys
from types import FrameType

STOPPED = 130  # as in ``base.errors``, which is loaded later


def run() -> int:
    """Run one command; return its exit code. Until it has begun, Ctrl-C ends it without a word."""
    if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        from handbell.cli.main import main  # whoever started it wants no Ctrl-C here

        return main()
    signal.signal(signal.SIGINT, _leave)
    from handbell.cli.main import main

    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        return main()
    except KeyboardInterrupt:  # before it could tell, or after it told
        return STOPPED


def _leave(_signal: int, _frame: FrameType | None) -> None:
    os._exit(STOPPED)  # nothing was begun yet


if __name__ == "__main__":
    sys.exit(run())
