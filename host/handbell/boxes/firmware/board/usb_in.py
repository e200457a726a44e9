"""How fast the box takes what the host says: 10,000 bytes come right behind this script."""
# mypy: ignore-errors
# ruff: noqa: F821

import select
import sys

_in = sys.stdin.buffer
_one, _many = bytearray(1), bytearray(7_999)
_poll = select.poll()
_poll.register(sys.stdin, select.POLLIN)


def _as_the_box_does():
    left = 2_000
    while left:
        for _ in _poll.ipoll(0):
            _in.readinto(_one)
            left -= 1


_in.readinto(_one)  # the rate counts from the first byte on
_whole_us = us(_in.readinto, _many)
_single_us = us(_as_the_box_does)
show(in_kb_s=7_999 * 1000 // _whole_us, in_single_kb_s=2_000 * 1000 // _single_us)
