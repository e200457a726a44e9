"""The flash chip in a file: NOR bits, the chip's stalls, and power that fails at a chosen moment.

Programming only clears bits and erasing sets them. Every operation goes straight to the file,
so ending the process at any moment is a power cut.
"""

import _channel
import _frames
import _world

BLOCK_SIZE = 4096
PAGE_SIZE = 256
_BLANK = b"\xff" * PAGE_SIZE
# A torn program leaves this many bytes of nonsense, a torn erase this many half-erased ones.
_EIO = 5
_PROGRAM_NONSENSE = 16
_ERASE_NONSENSE = 512


class Flash:
    """A block device for littlefs; `busy` says if operations take their time."""

    def __init__(self, config):
        self._file = open(config["flash"], "r+b")
        self._blocks = config["flash_blocks"]
        self._erase_us = config["erase_us"]
        self._program_us = config["program_us"]
        self._cut_at = config["cut_at_flash_op"]
        self._tear = config["tear"]
        self._fails_at = config.get("flash_fails_at")
        self._ops = 0
        self._blank = bytearray(PAGE_SIZE)
        self.busy = False

    def readblocks(self, block, buf, offset=0):
        """Reads into `buf` from a place in a block."""
        self._file.seek(block * BLOCK_SIZE + offset)
        self._file.readinto(buf)

    def writeblocks(self, block, buf, offset=None):
        """Programs `buf`; without an offset, erases the block first.

        A chip that fails is told by a negative number: an exception would leave the file system
        in the middle of its work.
        """
        if offset is None:
            if self._erase(block):
                return -_EIO
            offset = 0
        if self._fails():
            return -_EIO
        cut = self._count()
        at = block * BLOCK_SIZE + offset
        size = len(buf)
        if cut:
            size = 0 if self._tear == "none" else size // 2
        self._clear_bits(at, memoryview(buf)[:size])
        if cut:
            if self._tear == "garbage":
                nonsense = bytes(i * 73 & 0xFF for i in range(_PROGRAM_NONSENSE))
                self._clear_bits(at + size, nonsense)
            _channel.end_of_power(_frames.CUT, _frames.PROGRAM)
        pages = (len(buf) + PAGE_SIZE - 1) // PAGE_SIZE
        self._stall(_frames.PROGRAM, block, pages * self._program_us)
        return 0

    def ioctl(self, op, arg):
        """What a block device is asked: how many blocks, how big, erase one."""
        if op == 4:
            return self._blocks
        if op == 5:
            return BLOCK_SIZE
        return self._erase(arg) if op == 6 else 0

    def _erase(self, block):
        if self._fails():
            return -_EIO
        cut = self._count()
        size = BLOCK_SIZE
        if cut:
            size = 0 if self._tear == "none" else size // 2
        self._file.seek(block * BLOCK_SIZE)
        for _ in range(size // PAGE_SIZE):
            self._file.write(_BLANK)
        if cut:
            if self._tear == "garbage":
                half_erased = bytearray(_ERASE_NONSENSE)
                at = block * BLOCK_SIZE + size
                self._file.seek(at)
                self._file.readinto(half_erased)
                for i in range(_ERASE_NONSENSE):
                    half_erased[i] |= i * 31 & 0xFF
                self._file.seek(at)
                self._file.write(half_erased)
            _channel.end_of_power(_frames.CUT, _frames.ERASE)
        self._stall(_frames.ERASE, block, self._erase_us)
        return 0

    def _fails(self):
        return self._fails_at is not None and self._ops + 1 >= self._fails_at

    def _count(self):
        self._ops += 1
        return self._ops == self._cut_at

    def _clear_bits(self, at, data):
        for start in range(0, len(data), PAGE_SIZE):
            part = data[start : start + PAGE_SIZE]
            there = memoryview(self._blank)[: len(part)]
            self._file.seek(at + start)
            self._file.readinto(there)
            if there == _BLANK[: len(part)]:
                self._file.seek(at + start)
                self._file.write(part)
                continue
            for i in range(len(part)):
                there[i] &= part[i]
            self._file.seek(at + start)
            self._file.write(there)

    def _stall(self, op, block, us):
        if self.busy:
            _world.stall(us)
        else:
            us = 0
        _channel.emit(_frames.FLASH, op, block << 32 | us)
