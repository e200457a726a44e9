"""The battery: read seldom, smoothed, judged against the board's limit."""


class Power:
    """Battery state, read at the cell, so it is true on USB too; a box switched off reads 0."""

    def __init__(self, board) -> None:
        self._board = board
        self.mv = board.battery_mv()
        self.usb = board.on_usb()

    def read(self) -> None:
        """Take a reading (a fraction of a millisecond)."""
        self.usb = self._board.on_usb()
        self.mv = (3 * self.mv + self._board.battery_mv()) // 4

    @property
    def low(self) -> bool:
        """Whether a class should not be begun on this battery."""
        return self.mv < self._board.BATTERY_LOW_MV
