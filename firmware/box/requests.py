"""What a host may ask of a box: one table, one method a request, each safe to repeat.

A request is ``{"q": number, "s": session, "do": name, ...}``; the reply repeats ``q`` and ``s``
and holds either facts or ``no``, a fault code. The words of faults belong to the host.
"""

import binascii
import errno
import gc
import sys
import time

from handbell_core import faults, frames, journal, timeline
from handbell_core.runner import AGAIN, FAULT, HELD, OVER, READY, SET, STATES

from .storage import ENOSPC, KEEP_FREE_KB, RUNS

FIRMWARE = "0.1.0"
_NO_CLASS = (READY, HELD, AGAIN, OVER, FAULT)
QUIET = ("hello", "time", "status")  # requests that change nothing and need no file
ARM_LEAST_MS = 2_000
ARM_MOST_MS = 3 * 86_400_000  # run time must stay far below 2**29 ms


class Refusal(Exception):
    """A request that is not done; carries the fault code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


class Requests:
    """Answers a host's requests about one box."""

    def __init__(self, app) -> None:
        self._app = app
        self._last_key: tuple | None = None
        self._last_reply: dict = {}

    def answer(self, message: dict) -> dict:
        """Return the reply to a request; a repeated request has the effect of one."""
        key = (message.get("s"), message.get("q"))
        do = str(message.get("do"))
        if key == self._last_key and do != "time":
            return self._last_reply
        reply: dict = {"q": key[1], "s": key[0]}
        act = TABLE.get(do)
        try:
            if act is None:
                raise Refusal(faults.UNKNOWN)
            if do not in QUIET:
                self._app.account.finish()
            facts = act(self, message)
            if facts:
                reply.update(facts)
        except Refusal as refusal:
            reply["no"] = refusal.code
        except (KeyError, TypeError, ValueError):
            reply["no"] = faults.BAD_REQUEST
        except OSError as error:
            reply["no"] = faults.NO_ROOM if error.errno == ENOSPC else faults.FLASH_ERROR
        except Exception as error:  # noqa: BLE001 - a host that hears nothing takes the box for dead
            self._app.failed(error)
            reply["no"] = faults.FIRMWARE
        self._last_key, self._last_reply = key, reply
        return reply

    # Who is there

    def _hello(self, message: dict) -> dict:
        app = self._app
        settings = app.storage.settings
        return {
            "id": binascii.hexlify(app.board.unique_id()).decode(),
            "fw": FIRMWARE,
            "ln": frames.VERSION,
            "tl": timeline.VERSION,
            "jn": journal.VERSION,
            "board": app.board.NAME,
            "py": "%d.%d.%d" % sys.implementation.version[:3],
            "station": settings["station"],
            "label": settings["label"],
            "buttons": app.buttons.count,
            "boot": app.boot,
        }

    def _status(self, message: dict) -> dict:
        app = self._app
        runner = app.runner
        facts = {
            "state": STATES[runner.state] if runner else "empty",
            "sel": app.selected,
            "mv": app.power.mv,
            "usb": app.power.usb,
            "low": app.power.low,
            "kb": app.storage.room_kb if app.in_class else app.storage.free_kb(),
            "runs": len(app.storage.runs()) - (1 if app.log.has_file else 0),
            "fault": (runner and runner.fault) or app.fault or app.log.fault,
            "clock": app.keeper.model is not None,
            "rtc": app.keeper.rtc is not None,
        }
        if app.keeper.model is not None:
            facts["age_s"] = app.keeper.age_s()
            facts["bound_us"] = app.keeper.error_us()
        if message.get("heap"):
            gc.collect()
            facts["heap"] = gc.mem_free()
        if runner and runner.state == SET and app.clock.model is not None:
            facts["utc_ms"] = app.clock.utc_ms(runner.starts_ms)
        return facts

    # Time

    def _time(self, message: dict) -> dict:
        extender = self._app.keeper.extender
        return {"t2": extender.at(self._app.link.arrived), "t3": extender.at(time.ticks_us())}

    def _clock(self, message: dict) -> dict:
        app = self._app
        app.keeper.told(message, not app.busy)
        app.clock_changed()
        return app.keeper.facts()

    # Names

    def _refuse_in_class(self) -> None:
        """Flash is written and read at length only where no class can suffer from it."""
        if self._app.busy:
            raise Refusal(faults.BUSY)

    def _name(self, message: dict) -> None:
        self._refuse_in_class()
        self._app.storage.save(station=int(message["station"]), label=str(message["label"])[:32])
        self._app.named()

    def _ring(self, message: dict) -> None:
        self._app.identify()

    # Timelines in

    def _put(self, message: dict) -> dict:
        app = self._app
        self._refuse_in_class()
        digest = message["d"]
        at = app.storage.put_at(digest)
        if at >= 0 and (message["n"] - at) // 1024 + KEEP_FREE_KB > app.storage.free_kb():
            raise Refusal(faults.NO_ROOM)
        if at >= 0 and message.get("b"):
            data = binascii.a2b_base64(message["b"])
            if message["at"] > at or message["at"] + len(data) > message["n"]:
                raise Refusal(faults.BAD_OFFSET)
            at = app.storage.put(digest, message["at"], data)
        return {"at": at}

    def _keep(self, message: dict) -> None:
        app = self._app
        self._refuse_in_class()
        if not app.storage.finish_put(message["d"]):
            raise Refusal(faults.NOT_WHOLE)
        app.select(message["d"])

    def _select(self, message: dict) -> None:
        self._refuse_in_class()
        app, digest = self._app, message["d"]
        if not app.select(digest):
            is_here = digest in app.storage.timelines()
            raise Refusal(faults.TIMELINE_BROKEN if is_here else faults.NOT_FOUND)

    # Files out

    def _list(self, message: dict) -> dict:
        self._refuse_in_class()
        storage = self._app.storage
        names = storage.runs() if message["of"] == RUNS else storage.timelines()
        reply = {"n": len(names)}
        i = message["i"]
        if 0 <= i < len(names):
            name = names[i]
            reply["name"] = name
            if self._app.log.is_open and name == self._app.log.name:
                reply["open"] = True
            else:
                path = storage.find(message["of"], name)
                try:
                    if message["of"] == RUNS and not storage.join_tail(name):
                        raise OSError(errno.EIO)
                    reply["size"] = storage.size(path)
                    reply["d"] = storage.digest(path)
                except OSError:
                    reply["bad"] = 1  # the others are listed all the same
        return reply

    def _find(self, message: dict) -> str:
        path = self._app.storage.find(message["of"], message["name"])
        if not path:
            raise Refusal(faults.NOT_FOUND)
        return path

    def _get(self, message: dict) -> dict:
        size = min(message["n"], frames.CHUNK)
        data = self._app.storage.read(self._find(message), message["at"], size)
        return {"b": binascii.b2a_base64(data).decode().rstrip()}

    def _drop(self, message: dict) -> dict:
        """Erase a journal or timeline, only if its digest is the one named; gone is gone."""
        app = self._app
        self._refuse_in_class()
        path = app.storage.find(message["of"], message["name"])
        if path:
            if app.log.is_open and message["name"] == app.log.name:
                raise Refusal(faults.BUSY)
            if message["of"] == RUNS and not app.storage.join_tail(message["name"]):
                raise Refusal(faults.FLASH_ERROR)
            if app.storage.digest(path) != message["d"]:
                raise Refusal(faults.NOT_WHOLE)
            app.storage.remove(path)
            app.dropped(message["of"], message["name"])
        return {"gone": True}

    # The class

    def _arm(self, message: dict) -> dict:
        app = self._app
        unfit = app.keeper.unfit()
        if unfit:
            raise Refusal(unfit)
        if app.power.low:
            raise Refusal(faults.BATTERY_LOW)
        if app.in_class and app.runner.state != SET:
            raise Refusal(faults.BUSY)
        if app.selected != message["d"]:
            self._select(message)
        if app.runner.state in (OVER, FAULT) and not app.select(app.selected):
            raise Refusal(faults.FLASH_ERROR)
        ahead_ms = message["utc_ms"] - app.keeper.utc_ms()
        if ahead_ms < ARM_LEAST_MS:
            raise Refusal(faults.TOO_LATE)
        if ahead_ms > ARM_MOST_MS:
            raise Refusal(faults.TOO_FAR)
        if app.storage.free_kb() < KEEP_FREE_KB:
            raise Refusal(faults.NO_ROOM)
        if app.in_class and app.runner.by_hand:
            app.disarm()  # that start was set by another clock
        app.arm(app.clock.run_ms_of_utc(message["utc_ms"]))
        return {"utc_ms": message["utc_ms"]}

    def _disarm(self, message: dict) -> None:
        if self._app.runner and self._app.runner.state == SET:
            self._app.disarm()
        elif self._app.in_class:
            raise Refusal(faults.BUSY)

    def _test(self, message: dict) -> dict:
        if self._app.in_class:
            raise Refusal(faults.BUSY)
        return self._app.self_test(message)

    def _yield(self, message: dict) -> None:
        if self._app.in_class:
            raise Refusal(faults.BUSY)
        self._app.leave = True


def in_class(runner) -> bool:
    """Whether a run is under way: nothing may disturb it then."""
    return runner is not None and runner.state not in _NO_CLASS


TABLE = {
    "hello": Requests._hello,
    "status": Requests._status,
    "time": Requests._time,
    "clock": Requests._clock,
    "name": Requests._name,
    "ring": Requests._ring,
    "put": Requests._put,
    "keep": Requests._keep,
    "select": Requests._select,
    "list": Requests._list,
    "get": Requests._get,
    "drop": Requests._drop,
    "arm": Requests._arm,
    "disarm": Requests._disarm,
    "test": Requests._test,
    "yield": Requests._yield,
}
