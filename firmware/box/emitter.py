"""Sends telegrams by an infra-red diode: PIO makes the carrier, DMA feeds it, no time of the loop.

RP2040 datasheet, chapters PIO and DMA.
"""

import time
from array import array

import rp2

from handbell_core.bursts import CARRIER_HZ
from handbell_core.bursts_out import lasts_us, write
from handbell_core.ticks import ticks_add

WORDS = 12  # of the 32 that PIO1 has; ``box.infrared`` has the others
_MACHINE = 5  # the second of PIO1
_QUEUE = 0x50300014  # its TXF, on an RP2350 too
_PACE = 9  # how DMA waits for it
_DARK = rp2.asm_pio_encode("set(pins, 0)", 0)
_BUSY = 16  # EBUSY


# A word is (cycles lit - 1) | (cycles dark - 2) << 8; a cycle of the carrier takes 6 of ours, a
# third of it lit.
@rp2.asm_pio(set_init=rp2.PIO.OUT_LOW, out_shiftdir=rp2.PIO.SHIFT_RIGHT)
def _send():
    wrap_target()
    pull(block)[1]
    out(x, 8)[1]
    out(y, 8)[1]
    label("on")
    set(pins, 1)[1]
    set(pins, 0)[2]
    jmp(x_dec, "on")
    label("off")
    jmp(y_dec, "off")[5]
    wrap()


assert len(_send[0]) <= WORDS


class Sender:
    """Sends telegrams by an infra-red diode on ``pin``, high while it is lit."""

    def __init__(self, pin) -> None:
        self._machine = rp2.StateMachine(_MACHINE, _send, freq=6 * CARRIER_HZ, set_base=pin)
        self._machine.active(1)
        self._dma = rp2.DMA()
        self._words = array("I")

    def is_busy(self) -> bool:
        """Whether a telegram is being sent, but for the last 2 ms of it."""
        return self._dma.active() or self._machine.tx_fifo() > 0

    def send(self, data: bytes) -> int:
        """Begin to send a telegram; return the tick at which it ends, ``lasts_us(data)`` from now.

        Raises OSError while another one is being sent.
        """
        if self.is_busy():
            raise OSError(_BUSY)
        cycles = write(data)
        self._words = array(
            "I", [cycles[n] - 1 | cycles[n + 1] - 2 << 8 for n in range(0, len(cycles), 2)]
        )
        dma = self._dma
        dma.config(
            read=self._words,
            write=_QUEUE,
            count=len(self._words),
            ctrl=dma.pack_ctrl(inc_write=False, treq_sel=_PACE),
            trigger=True,
        )
        return ticks_add(time.ticks_us(), lasts_us(data))

    def close(self) -> None:
        """Stop, dark."""
        self._dma.close()
        self._machine.active(0)
        self._machine.exec(_DARK)
