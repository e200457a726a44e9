"""A box that can't make its parts: it answers its host, gives its logs out, and shows it.

It takes as few of the other modules as will do, and whatever fails of those is left out. Only a
request for the prompt, or Ctrl-C, ends it.
"""

import binascii
import errno
import gc
import time

from handbell_core import faults
from handbell_core.ticks import ticks_add

from .kernel import Refusal, drop_file, erred_piece, get_piece, list_file, who
from .link import BYTES_A_PASS, Link
from .storage import RUNS, Storage
from .trouble import Trouble

STATE = "broken"
LONGEST_IDLE_US = 100_000
DEAD = (b"Not working", b"", b"On a computer:", b"handbell boxes", b"says why")
LEFT = (b"Stopped", b"", b"Switch it off", b"and on")
PIECE_BYTES = 128


class NoBoard:
    """In place of a board's file that can't be imported."""

    NAME = "unknown"
    ROOT = ""
    BUTTON_PINS = ()

    def unique_id(self) -> bytes:
        """Return the chip's own number."""
        import machine

        return machine.unique_id()

    def idle(self, until) -> None:
        """Wait a millisecond."""
        time.sleep_ms(1)


class _NoFlash:
    """In place of a storage that can't be made."""

    def __init__(self) -> None:
        self.settings: dict = {}
        self.boot = 0

    def _fails(self, *_):
        raise OSError(errno.EIO)

    path = read = write = runs = timelines = find = free_kb = _fails


class Safe:
    """Runs in place of the box that ``error`` kept from being made; ``board`` may be None."""

    def __init__(self, board, error: Exception) -> None:
        gc.collect()
        self._board = board = _or_none(board)
        self._link = Link()
        self._leave = False
        self._storage = _made(lambda: Storage(board.ROOT)) or _NoFlash()
        self._text, self._short = b"", ""
        self._storage.boot = self._storage.settings.get("starts", 0)  # the box has counted it
        self._id = _made(lambda: binascii.hexlify(board.unique_id()).decode()) or "0" * 16
        self._tell(error)
        self._display = _made(self._make_display)
        _made(self._light)
        self._show(DEAD)

    def _tell(self, error: Exception) -> None:
        """Keep the error, in the box's file if there is one."""
        line = "start %d, making the box: %s" % (self._storage.boot, type(error).__name__)
        self._text, self._short = line.encode(), line
        try:
            trouble = Trouble(self._storage)
            trouble.tell("making the box", error)
            self._text, self._short = trouble.text, trouble.short()
            trouble.keep()
        except Exception:  # noqa: BLE001 - the name must do
            pass

    # What is seen

    def _make_display(self):
        from .bus import Bus
        from .display import Display

        board = self._board
        return Display(Bus(board), reset=board.display_reset(), paged=board.DISPLAY_PAGED)

    def _light(self) -> None:
        from .lights import TROUBLE, Lights

        lights = Lights(self._board.strip(), self._board.LAMP_CAP)
        lights.set(0, 0, 0, 0, TROUBLE)
        lights.write()

    def _show(self, lines) -> None:
        display = self._display
        if display is None:
            return
        try:
            display.canvas.fill(0)
            for row, line in enumerate(lines):
                display.canvas.text(line.decode(), 0, 12 * row)
            display.drawn()
            while display.update(PIECE_BYTES):
                pass
        except Exception:  # noqa: BLE001 - then it stays dark
            pass

    # The loop

    def run(self) -> None:
        """Answer until the host asks for the prompt; no error ends it."""
        while not self._leave:
            try:
                self._turn()
            except Exception:  # noqa: BLE001 - the first error is the one to tell
                pass
            try:
                tick = time.ticks_us()
                reply_us = self._link.reply_due_us(tick)
                self._board.idle(ticks_add(tick, LONGEST_IDLE_US if reply_us < 0 else reply_us))
            except Exception:  # noqa: BLE001 - it may be the board's file that is broken
                time.sleep_ms(1)

    def _turn(self) -> None:
        link = self._link
        while True:
            link.poll(BYTES_A_PASS, True)
            if link.broke:
                raise KeyboardInterrupt
            if link.waits():
                request = link.request()
                if "do" in request:
                    link.send(self._answer(request))
            elif not link.has_input():
                return

    def end(self) -> None:
        """Leave the line to MicroPython's prompt, and say that the box is off."""
        self._show(LEFT)
        self._link.close()

    # Requests

    def _answer(self, message: dict) -> dict:
        reply: dict = {"q": message.get("q"), "s": message.get("s")}
        act = TABLE.get(str(message["do"]))
        try:
            if act is None:
                raise Refusal(faults.FIRMWARE)
            reply.update(act(self, message))
        except Refusal as refusal:
            reply["no"] = refusal.code
        except (KeyError, TypeError, ValueError):
            reply["no"] = faults.BAD_REQUEST
        except OSError:
            reply["no"] = faults.FLASH_ERROR
        except Exception:  # noqa: BLE001 - a host that hears nothing takes the box for dead
            reply["no"] = faults.FIRMWARE
        return reply

    def _hello(self, message: dict) -> dict:
        board = self._board
        buttons = len(board.BUTTON_PINS)
        storage = self._storage
        return who(self._id, board.NAME, storage.settings, storage.boot, buttons, False, False)

    def _status(self, message: dict) -> dict:
        storage = self._storage
        return {
            "state": STATE,
            "sel": "",
            "mv": 0,
            "usb": True,
            "low": False,
            "kb": _made(storage.free_kb) or 0,
            "runs": len(_made(storage.runs) or ()),
            "fault": faults.FIRMWARE,
            "clock": False,
            "rtc": False,
            "erred": self._short,
        }

    def _erred(self, message: dict) -> dict:
        return erred_piece(self._text, message)

    def _list(self, message: dict) -> dict:
        return list_file(self._storage, message, "")

    def _get(self, message: dict) -> dict:
        return get_piece(self._storage, message)

    def _drop(self, message: dict) -> dict:
        if message["of"] != RUNS:
            raise Refusal(faults.FIRMWARE)
        drop_file(self._storage, message, "")
        return {"gone": True}

    def _yield(self, message: dict) -> dict:
        self._leave = True
        return {}


TABLE = {
    "hello": Safe._hello,
    "status": Safe._status,
    "erred": Safe._erred,
    "list": Safe._list,
    "get": Safe._get,
    "drop": Safe._drop,
    "yield": Safe._yield,
}


def _or_none(board):
    return NoBoard() if board is None else board


def _made(make):
    """Return what ``make`` makes, None if it can't."""
    try:
        return make()
    except Exception:  # noqa: BLE001 - anything may be broken here
        return None
