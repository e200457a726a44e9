"""Put before every script that is sent to a board: a stopwatch, the scratch file, the answer."""
# mypy: ignore-errors
# ruff: noqa: PTH107, SIM105

import os
import time

SCRATCH = "bench.tmp"  # all that a bench ever writes; the firmware never looks at it


def show(**figures):
    """Give figures back to the host, as the last line that is printed."""
    print(repr(figures))


def us(work, *args):
    """Return how many microseconds a call takes."""
    start = time.ticks_us()
    work(*args)
    return time.ticks_diff(time.ticks_us(), start)


def middle(values):
    """Return the median."""
    return sorted(values)[len(values) // 2]


def clean():
    """Remove the scratch file, if there is one."""
    try:
        os.remove(SCRATCH)
    except OSError:
        pass
