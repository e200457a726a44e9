"""Writes a telegram as bursts of a 38 kHz carrier; ``bursts`` says how, and reads."""

from .bursts import BURST, DARK, LEAST, LONG_BURST, START, STEP, SYMBOLS


def write(data: bytes) -> bytearray:
    """Return pairs of bytes, cycles lit and cycles dark, the first burst first."""
    out = bytearray((LONG_BURST, START - LONG_BURST))
    for byte in data:
        for shift in (0, 2, 4, 6):
            out.append(BURST)
            out.append(LEAST + STEP * (byte >> shift & 3) - BURST)
    out.append(BURST)
    out.append(DARK)
    return out


def lasts_us(data: bytes) -> int:
    """Return how long after its begin a telegram ends, which is as its last burst begins."""
    cycles = START + LEAST * SYMBOLS
    for byte in data:
        for shift in (0, 2, 4, 6):
            cycles += STEP * (byte >> shift & 3)
    return cycles * 500 // 19
