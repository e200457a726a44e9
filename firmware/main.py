"""Chooses the firmware's folder and runs it.

The file ``active`` names the folder to run; one that can't be imported is passed over for the other
one. The file ``trial`` names a folder to try first, and how many starts it has left, which is
counted before each: it runs under a watchdog until it makes itself the active one. Where no folder
is named, the modules are where MicroPython looks anyway. This file outlives many firmwares, so all
it asks of one is a module ``begin`` with a ``main``.
"""

import gc
import io
import os
import sys

FOLDERS = (b"fw_a", b"fw_b")
OURS = ("begin", "box", "boards", "handbell_core")
DOG_MS = 8_000  # a firmware on trial that is silent for so long is reset


def read(name: str) -> bytes:
    """Return what a small file says, b"" if it can't be read."""
    try:
        with open(name, "rb") as f:
            return f.read(8)
    except OSError:
        return b""


def keep(name: str, data: bytes) -> None:
    """Make a small file say that, at once; raises OSError."""
    with open(name + ".new", "wb") as f:
        f.write(data)
    os.rename(name + ".new", name)


def on_trial() -> str:
    """Return the folder to try, "" for none; one of its starts is gone then."""
    said = read("trial")
    folder, left = said[:4], said[4:]
    if folder not in FOLDERS or folder == read("active") or left not in (b"1", b"2", b"3"):
        if said:
            os.remove("trial")
        return ""
    keep("trial", folder + b"%d" % (int(left) - 1))
    return folder.decode()


def attempt(folder: str) -> bool:
    """Run a folder on trial until it leaves; False, with the reason kept, if it failed."""
    import machine

    machine.WDT(timeout=DOG_MS)
    try:
        load(folder).main()
        return True
    except Exception as error:  # noqa: BLE001 - a new firmware can raise anything
        said = io.StringIO()
        sys.print_exception(error, said)
    try:
        os.remove("trial")
        keep("trouble.txt", folder.encode() + b" on trial\n" + said.getvalue()[-600:].encode())
    except OSError:
        pass
    machine.reset()  # whatever it began ends with it
    return False


def folders() -> list:
    """Return the folders to try in turn, "" for MicroPython's own path."""
    named = read("active")
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
    try:
        folder = on_trial()
        if folder and attempt(folder):
            return
    except Exception as error:  # noqa: BLE001 - without a trial the other one runs
        sys.print_exception(error)
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
