"""A Pico's flash in memory, for littlefs inside MicroPython: power fails at one operation.

Blocks of 4096 bytes are erased, pages of 256 programmed, and a program only clears bits, as NOR
flash has it. After the cut every call fails until the flash is mounted anew.
"""

BLOCK, PAGE = 4096, 256
NOTHING, HALF, GARBAGE = range(3)  # what of the operation happened when power failed
_EIO = -5  # an error number: an exception here would print a traceback a call


class Flash:
    """``data`` is what it holds; ``cut`` the number of the operation that is torn, -1 for none."""

    def __init__(self, data: bytearray, cut: int = -1, tear: int = NOTHING) -> None:
        self.data = data
        self.cut, self.tear = cut, tear
        self.operations = self.erases = 0
        self.dead = False
        self.unerased = 0  # bits that a program should have set: a fault of the file system

    def _fails(self) -> bool:
        """Count an operation; True when it is the one that power fails in."""
        self.dead = self.operations == self.cut
        self.operations += 1
        return self.dead

    def readblocks(self, block, into, offset=0):
        if self.dead:
            return _EIO
        at = block * BLOCK + offset
        into[:] = memoryview(self.data)[at : at + len(into)]
        return None

    def writeblocks(self, block, data, offset=0):
        if self.dead:
            return _EIO
        assert offset % PAGE == 0 and len(data) % PAGE == 0
        at, size = block * BLOCK + offset, len(data)
        done = size
        if self._fails():
            done = 0 if self.tear == NOTHING else size // 2 - 7
        flash = self.data
        if done == size and flash[at : at + size] == b"\xff" * size:
            flash[at : at + size] = data
        else:
            for i in range(done):
                self.unerased += data[i] & ~flash[at + i] & 0xFF
                flash[at + i] &= data[i]
        if self.dead and self.tear == GARBAGE:
            for i in range(done, size):  # some of its bits got through
                flash[at + i] &= data[i] | (i * 73 & 0xFF)
        return _EIO if self.dead else None

    def ioctl(self, op, block):
        if op == 4:
            return len(self.data) // BLOCK
        if op == 5:
            return BLOCK
        if op != 6:
            return 0
        if self.dead:
            return _EIO
        done = BLOCK
        if self._fails():
            done = 0 if self.tear == NOTHING else BLOCK // 2
        else:
            self.erases += 1
        at = block * BLOCK
        self.data[at : at + done] = b"\xff" * done
        if self.dead and self.tear == GARBAGE:
            for i in range(done, BLOCK):  # cells on their way to one
                self.data[at + i] |= i * 31 & 0xFF
        return _EIO if self.dead else 0
