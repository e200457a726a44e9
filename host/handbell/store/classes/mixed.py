"""Two boxes of one station: of two halls, or a box and its spare, by the moments of their presses.

Looked at from the later first press to the earlier last one, each change from one box to the other
in the order of presses counts. Half minutes in which both were pressed would tell less: fast and
slow people need not share one, and a spare that is tried shares several with the box it is to
replace.

People who change boxes make few changes, with many presses between them: a spare tried three times
makes five, four times seven. Two halls make one every few presses, or at each window where one
rests while the other works. Where each is pressed once a window five must do, which four windows
make. A few presses among many are a box that was tried, or pressed by mistake.
"""

from __future__ import annotations

from collections.abc import Collection
from itertools import pairwise

CHANGES_LEAST = 5  # where the turns are short,
SHORT_TURN = 3  # that is so many presses on the average
CHANGES_LEAST_LONG = 8  # where they are long
LESSER_LEAST = 8  # the box that is pressed less has at least this part of the other's presses


def mixed(one_us: Collection[int], other_us: Collection[int]) -> bool:
    """Whether two boxes were pressed at these times without regard to each other."""
    both = one_us, other_us
    if not all(both):
        return False
    since, until = max(map(min, both)), min(map(max, both))
    mine, yours = ([at for at in some if since <= at <= until] for some in both)
    if LESSER_LEAST * min(len(mine), len(yours)) < max(len(mine), len(yours)):
        return False
    order = sorted([(at, 0) for at in mine] + [(at, 1) for at in yours])
    changes = sum(a != b for (_, a), (_, b) in pairwise(order))
    short = len(order) <= SHORT_TURN * (changes + 1)
    return changes >= (CHANGES_LEAST if short else CHANGES_LEAST_LONG)
