"""Versions of the formats: one byte, the major number in its low half, the minor in its high one.

A minor adds only what one who does not know it may pass over. So who reads a format's major reads
all its minors, older and newer; and each reads the majors before its own too.
"""


def major(version: int) -> int:
    """Return the number that both sides must know."""
    return version & 15


def minor(version: int) -> int:
    """Return the number of what was added since, which who does not know it passes over."""
    return version >> 4


def reads(ours: int, theirs: int) -> bool:
    """Whether who has version ``ours`` of a file's format reads a file of ``theirs``."""
    return 1 <= major(theirs) <= major(ours)


def name(version: int) -> str:
    """Return a version as it is said."""
    return "%d.%d" % (major(version), minor(version))
