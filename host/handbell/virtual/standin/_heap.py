"""The heap's lock while a hard interrupt runs, as on the chip: what allocates there fails."""

import micropython

_locked = False


def lock(wanted=True):
    """Locks it, if wanted."""
    global _locked
    if wanted and not _locked:
        _locked = True
        micropython.heap_lock()


def unlock():
    """Unlocks it; says if it was locked, for `lock` to put right again."""
    global _locked
    if not _locked:
        return False
    _locked = False
    micropython.heap_unlock()
    return True
