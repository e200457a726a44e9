"""How fast USB takes what the box says. The host throws away 42,768 bytes before the figures."""
# mypy: ignore-errors
# ruff: noqa: F821

import sys

_out = sys.stdout.buffer
_reply, _block = b"x" * 200, b"y" * 256
_writes = []
for _ in range(50):
    time.sleep_ms(5)
    _writes.append(us(_out.write, _reply))


def _stream():
    for _ in range(128):
        _out.write(_block)


_took_us = us(_stream)
show(reply_us=max(_writes), out_kb_s=128 * 256 * 1000 // _took_us)
