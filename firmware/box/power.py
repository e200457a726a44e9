"""The battery: read seldom, judged against the board's limit without flutter.

A class's load moves the voltage by more than a charge does in an hour, so readings that fall are
smoothed. One far above the last is another battery, or this one switched on: it counts at once.
"""

LOOKS = 9  # of which the middle one is a reading
RISE_MV = 200  # more than a load that ends gives back
WELL_MV = 100  # above the limit: a low battery is low up to here


class Power:
    """Battery state, read at the cell, so it is true on USB too; a box switched off reads 0."""

    def __init__(self, board) -> None:
        self._board = board
        self._looks = [0] * LOOKS
        self.mv = 0
        self.low = False  # a host sets no start on this battery, and the screen says so
        self.usb = False
        self.read()

    def read(self) -> None:
        """Take a reading (a millisecond at most)."""
        self.usb = self._board.on_usb()
        looks = self._looks
        for n in range(LOOKS):
            looks[n] = self._board.battery_mv()
        looks.sort()
        mv = looks[LOOKS // 2]
        self.mv = mv if mv > self.mv + RISE_MV else (3 * self.mv + mv) // 4
        limit_mv = self._board.BATTERY_LOW_MV
        self.low = self.mv < (limit_mv + WELL_MV if self.low else limit_mv)
