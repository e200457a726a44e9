"""What a receiver tells of bursts: edges as (lit, microseconds after the edge before)."""

from handbell_core.bursts_out import write

WORST_US = 100  # each edge may be so much early or late
SAMPLED_US = 32  # and is noticed up to so much later, on a box


class Chance:
    """Numbers that are the same on both runtimes."""

    def __init__(self, seed):
        self._state = seed

    def below(self, limit):
        self._state = (self._state * 1_103_515_245 + 12_345) & 0x3FFFFFFF
        return (self._state >> 8) % limit

    def bytes(self, count):
        return bytes([self.below(256) for _ in range(count)])


def edges(data, before_us=50_000, off=lambda: 0):
    """Return the edges of a telegram; ``off`` gives by how many us the next edge is off."""
    out = []
    true_us = before_us
    last_us = 0
    lit = True
    for cycles in write(data):
        seen_us = true_us + off()
        out.append((lit, seen_us - last_us))
        last_us = seen_us
        true_us += cycles * 500 // 19
        lit = not lit
    return out


def read(reader, sequence):
    """Return all telegrams that a reader finds in edges."""
    return [bytes(reader.data) for lit, us in sequence if reader.edge(lit, us)]


def distance_frame(chance, head_us, gap_us, short_us, long_us, burst_us, bits):
    """A frame as other remotes send: a head, then bits told by how long it is dark."""
    out = [(True, 40_000), (False, head_us), (True, gap_us)]
    for _ in range(bits):
        out.append((False, burst_us))
        out.append((True, long_us if chance.below(2) else short_us))
    out.append((False, burst_us))
    return out


def length_frame(chance, head_us, dark_us, short_us, long_us, bits):
    """A frame as other remotes send: a head, then bits told by how long it is lit."""
    out = [(True, 25_000), (False, head_us)]
    for _ in range(bits):
        out.append((True, dark_us))
        out.append((False, long_us if chance.below(2) else short_us))
    return out


def halves_frame(chance, half_us, bits):
    """A frame as other remotes send: each bit lit in its first half or in its second."""
    levels = []
    for _ in range(bits):
        levels += [1, 0] if chance.below(2) else [0, 1]
    out, us, lit = [], 30_000, 0
    for level in levels:
        if level != lit:
            out.append((bool(level), us))
            us, lit = 0, level
        us += half_us
    if lit:
        out.append((False, us))
    return out


def foreign(chance):
    """A frame of one of the common kinds of remotes, lengths from memory."""
    kind = chance.below(3)
    if kind == 0:
        return distance_frame(chance, 9_000, 4_500, 563, 1_688, 563, 32)
    if kind == 1:
        return length_frame(chance, 2_400, 600, 600, 1_200, 12)
    return halves_frame(chance, 889, 14)


def noise(chance, edges_):
    """Return so many edges of no meaning, an even number; bursts as short as receivers make."""
    out = []
    for _ in range(edges_ // 2):
        out.append((True, 250 + chance.below(4_000)))
        out.append((False, 200 + chance.below(1_200)))
    return out
