"""Chooses the firmware's folder and runs it.

A new firmware is written into the folder that does not run, and named in the file ``active`` at
the very end; a folder that can't be imported is passed over for the other one. Where no folder is
named, the modules are where MicroPython looks anyway. This file outlives many firmwares, so all it
asks of one is a module ``begin`` with a ``main``.
"""

import gc
import sys

FOLDERS = (b"fw_a", b"fw_b")
OURS = ("begin", "box", "boards", "handbell_core")


def folders() -> list:
    """Return the folders to try in turn, "" for MicroPython's own path."""
    try:
        with open("active", "rb") as f:
            named = f.read(8)
    except OSError:
        named = b""
    if named not in FOLDERS:
        return [""]
    other = FOLDERS[1 - FOLDERS.index(named)]
    return [named.decode(), other.decode()]


def load(folder: str):
    """Return the module ``begin`` of a folder; raises what its import raises, and forgets it."""
    if folder:
        sys.path.insert(0, folder)
    try:
        import begin

        return begin
    except Exception as error:  # noqa: BLE001 - a broken file can raise anything
        if folder:
            sys.path.remove(folder)
        for name in list(sys.modules):
            if name.split(".")[0] in OURS:
                del sys.modules[name]
        gc.collect()
        raise error


def start() -> None:
    """Run the first firmware that can be imported; without one the prompt stays, with reasons."""
    for folder in folders():
        try:
            begin = load(folder)
        except Exception as error:  # noqa: BLE001 - the other folder may be whole
            sys.print_exception(error)
            continue
        begin.main()
        return


try:
    start()
except Exception as error:  # noqa: BLE001 - the prompt must stay reachable, with the reason
    sys.print_exception(error)
