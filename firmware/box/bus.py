"""The bus that the display and the clock part share, with a way out when a part holds it."""

PART_ADDRESS = 0x68  # of the clock part


class Bus:
    """The board's I2C bus; transfers raise OSError where nothing answers in time."""

    def __init__(self, board) -> None:
        self._board = board
        self._i2c = board.bus()
        self.freed = 0  # how often it was begun anew
        self.free()  # a reset in the middle of a transfer leaves a part waiting for its clocks

    def free(self) -> None:
        """Free the bus if a part holds its data line, and begin it anew; under a millisecond."""
        anew = self._board.clear_bus()
        if anew is not None:
            self._i2c = anew
            self.freed += 1

    def writeto(self, address: int, data) -> None:
        """Write to a part."""
        self._i2c.writeto(address, data)

    def readfrom_mem(self, address: int, register: int, size: int) -> bytes:
        """Read a part's registers."""
        data: bytes = self._i2c.readfrom_mem(address, register, size)
        return data

    def writeto_mem(self, address: int, register: int, data) -> None:
        """Write a part's registers."""
        self._i2c.writeto_mem(address, register, data)
