"""The box's end of the control channel; see `_frames` for what goes over it."""

import struct

import _clock
import _heap
from _frames import HEAD, HEAD_SIZE

_SIZE = 4096

reader = None
_writer = None
_out = bytearray(_SIZE)
_used = 0


def begin(rx_fd, tx_fd):
    """Opens both directions."""
    global reader, _writer
    reader = open("/dev/fd/%d" % rx_fd, "rb")
    _writer = open("/dev/fd/%d" % tx_fd, "wb")


def emit(kind, arg, value):
    """Tells the world of something small; allocates nothing, so that handlers may."""
    global _used
    if _used + HEAD_SIZE > _SIZE:
        flush()
    struct.pack_into(HEAD, _out, _used, kind, arg, 0, _clock.now(), value)
    _used += HEAD_SIZE


def emit_bytes(kind, arg, data):
    """Tells the world of bytes that went out; gives the world time that it was told."""
    global _used
    was_locked = _heap.unlock()
    at_us = _clock.now()
    size = len(data)
    if _used + HEAD_SIZE + size > _SIZE:
        flush()
    struct.pack_into(HEAD, _out, _used, kind, arg, size, at_us, 0)
    _used += HEAD_SIZE
    if _used + size > _SIZE:
        flush()
        _writer.write(data)
    else:
        _out[_used : _used + size] = data
        _used += size
    _heap.lock(was_locked)
    return at_us


def flush():
    """Hands the world everything emitted so far."""
    global _used
    if _used:
        was_locked = _heap.unlock()
        _writer.write(memoryview(_out)[:_used])
        _used = 0
        _heap.lock(was_locked)


def tell(kind, arg, value):
    """Emits and flushes."""
    emit(kind, arg, value)
    flush()


def receive():
    """Waits for the world's next frame: (kind, arg, at_us, value, body)."""
    head = reader.read(HEAD_SIZE)
    if not head:
        raise SystemExit  # the world is gone
    kind, arg, size, at_us, value = struct.unpack(HEAD, head)
    return kind, arg, at_us, value, reader.read(size) if size else b""


def end_of_power(kind, arg):
    """Says why this box must go, and stands still until the world ends the process."""
    tell(kind, arg, 0)
    while reader.read(1):
        pass
    raise SystemExit
