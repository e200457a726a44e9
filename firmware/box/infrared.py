"""What a 38 kHz receiver sees, by PIO and DMA, which go on while a flash write stops the chip.

RP2040 datasheet, chapters PIO and DMA. A state machine of PIO1 times the edges (the buttons fill
PIO0), and one DMA channel puts a byte an edge into a ring; a second one sends the first back to the
ring's begin, so that the ring may lie anywhere.
"""

import sys
import time
from array import array

import rp2

import box

from .hearing import CYCLE_US, RING, TURNS

WORDS = 20  # of the 32 that PIO1 has; ``box.emitter`` has the others
_MACHINE = 4  # the first of PIO1
_HZ = 1_000_000 // CYCLE_US
_QUEUE = 0x50300020  # its RXF, on an RP2350 too, like what follows
_PACE = 12  # how DMA waits for it
_DMA, _CHANNEL = 0x50000000, 0x40
_WRITE_AND_START = 0x2C  # of a channel


# A byte is (turns left << 1 | dark): a turn takes 4 cycles, 29 more go by until the next byte's
# first. 127 turns left: the turns ran out, and no edge came. From edge to edge it takes 29 cycles
# at least, so that no noise fills the ring in 400 ms.
@rp2.asm_pio(autopush=True, push_thresh=8, in_shiftdir=rp2.PIO.SHIFT_LEFT)
def _receive():
    wrap_target()
    label("n")
    mov(x, osr)
    label("d")
    jmp(pin, "s")
    jmp("c")
    label("s")
    jmp(x_dec, "d")[2]
    in_(x, 7)
    in_(osr, 1)  # TURNS is odd
    jmp("n")
    label("c")
    in_(x, 7)
    in_(null, 1)[24]
    label("b")
    mov(x, osr)
    label("l")
    jmp(pin, "w")[1]
    jmp(x_dec, "l")[1]
    in_(x, 7)
    in_(null, 1)
    jmp("b")
    label("w")
    in_(x, 7)
    in_(osr, 1)[24]
    wrap()


assert len(_receive[0]) <= WORDS


def start(pin):
    """Watch a pin that is low while it sees light; return what ``box.hearing`` reads from.

    Works once, and then leaves the memory to others: this module can't be found any more.
    """
    ring, begin = bytearray(RING), array("I", [0])
    machine = rp2.StateMachine(_MACHINE, _receive, freq=_HZ, in_base=pin, jmp_pin=pin)
    machine.put(TURNS)
    machine.exec(rp2.asm_pio_encode("pull(block)", 0))
    dma, back = rp2.DMA(), rp2.DMA()
    dma.config(
        read=_QUEUE,
        write=ring,
        count=RING,
        ctrl=dma.pack_ctrl(size=0, inc_read=False, treq_sel=_PACE, chain_to=back.channel),
    )
    begin[0] = dma.write
    back.config(
        read=begin,
        write=_DMA + _CHANNEL * dma.channel + _WRITE_AND_START,
        count=1,
        ctrl=back.pack_ctrl(inc_read=False, inc_write=False),
    )
    dma.active(1)
    since = time.ticks_us()
    machine.active(1)
    del sys.modules[__name__], box.infrared
    return ring, dma, dma.write, since, (machine, back, begin)
