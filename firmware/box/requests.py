"""What a host may ask of a box: one table, one method a request, each safe to repeat.

A request is ``{"q": number, "s": session, "do": name, ...}``; the reply repeats ``q`` and ``s``
and holds either facts or ``no``, a fault code. The words of faults belong to the host.
"""

import binascii
import gc
import time

from handbell_core import faults
from handbell_core.runner import FAULT, OVER
from handbell_core.timeline import VersionError

from .kernel import Refusal, drop_file, erred_piece, get_piece, list_file, who
from .storage import ENOSPC, KEEP_FREE_KB, RUNS

QUIET = ("hello", "time", "status", "erred")  # requests that change nothing and need no file
ARM_LEAST_MS = 2_000
ARM_MOST_MS = 3 * 86_400_000  # run time must stay far below 2**29 ms


class Requests:
    """Answers a host's requests about one box.

    ``desk`` does what only the whole box can: ``identify``, ``self_test``, ``leave``; it has the
    box's ``board`` and ``box_id`` (hex). ``arrived()`` is the tick of the request.
    """

    def __init__(
        self, desk, session, storage, keeper, power, health, trouble, trial, arrived
    ) -> None:
        self._desk = desk
        self._session = session
        self._storage = storage
        self._keeper = keeper
        self._power = power
        self._health = health
        self._trouble = trouble
        self._trial = trial
        self._arrived = arrived
        self._last_key: tuple | None = None
        self._last_reply: dict = {}

    def answer(self, message: dict) -> dict:
        """Return the reply to a request; a repeated request has the effect of one."""
        key = (message.get("s"), message.get("q"))
        do = str(message.get("do"))
        if key == self._last_key and do != "time":
            return self._last_reply
        self._trial.heard(key[0], do)
        reply: dict = {"q": key[1], "s": key[0]}
        act = TABLE.get(do)
        try:
            if act is None:
                raise Refusal(faults.UNKNOWN)
            if do not in QUIET:
                self._session.finish()
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
            self._trouble.tell("answer", error)
            reply["no"] = faults.FIRMWARE
        self._last_key, self._last_reply = key, reply
        return reply

    # Who is there

    def _hello(self, message: dict) -> dict:
        desk, settings, boot = self._desk, self._storage.settings, self._storage.boot
        session, pending = self._session, self._trial.pending
        count = session.buttons.count
        return who(desk.box_id, desk.board.NAME, settings, boot, count, pending, session.hears)

    def _status(self, message: dict) -> dict:
        session, storage, power, keeper = self._session, self._storage, self._power, self._keeper
        runner = session.runner
        if not session.in_class:
            storage.room()
        facts = {
            "state": session.word,
            "sel": session.selected,
            "mv": power.mv,
            "usb": power.usb,
            "low": power.low,
            "kb": storage.room_kb,
            "runs": max(0, storage.count_runs() - (1 if session.open_run else 0)),
            "fault": self._health.fault(),
            "clock": keeper.model is not None,
            "rtc": keeper.rtc is not None,
        }
        if keeper.model is not None:
            facts["age_s"] = keeper.age_s()
            facts["bound_us"] = keeper.error_us()
        if self._trouble.text:
            facts["erred"] = self._trouble.short()
        if message.get("heap"):
            gc.collect()
            facts["heap"] = gc.mem_free()
        if runner and runner.awaits_start and session.clock.model is not None:
            facts["utc_ms"] = session.clock.utc_ms(runner.starts_ms)
        if session.in_class and runner.begun:
            facts["class_ms"] = max(0, runner.class_ms(session.run_ms()))
            facts["waits"] = runner.waiting
            facts["led"] = runner.heeds
            if runner.heeds:
                agreement = runner.agreement
                facts["act"], facts["alone"] = agreement.number, runner.alone
                facts["tells"] = agreement.number == agreement.newest.number
            if session.clock.model is not None:
                facts["zero_ms"] = session.clock.utc_ms(runner.zero_ms)
        return facts

    def _erred(self, message: dict) -> dict:
        return erred_piece(self._trouble.text, message)

    # Time

    def _time(self, message: dict) -> dict:
        extender = self._keeper.extender
        return {"t2": extender.at(self._arrived()), "t3": extender.at(time.ticks_us())}

    def _clock(self, message: dict) -> dict:
        self._keeper.told(message, not self._session.busy)
        try:
            self._session.take_clock()
        except Exception as error:  # noqa: BLE001 - the box has it, and its run is given it later
            self._trouble.tell("clock", error)
        return self._keeper.facts()

    # Names

    def _refuse_in_class(self) -> None:
        """Flash is written and read at length only where no class can suffer from it."""
        if self._session.busy:
            raise Refusal(faults.BUSY)

    def _name(self, message: dict) -> None:
        self._refuse_in_class()
        storage = self._storage
        if not storage.read_settings():
            raise Refusal(faults.FLASH_ERROR)
        old = {n: storage.settings[n] for n in ("station", "label", "buttons", "remote")}
        new = {"station": int(message["station"]), "label": str(message["label"])[:32]}
        if "buttons" in message:
            new["buttons"] = max(0, int(message["buttons"]))
        if "remote" in message:  # from its next start on
            new["remote"] = bool(message["remote"])
        try:
            storage.save(**new)
        except OSError as error:
            try:
                storage.save(**old)
            except OSError:
                pass  # it has its old name all the same
            raise error
        self._desk.named()

    def _ring(self, message: dict) -> None:
        self._desk.identify()

    # Timelines in

    def _put(self, message: dict) -> dict:
        storage = self._storage
        self._refuse_in_class()
        digest = message["d"]
        at = storage.put_at(digest)
        if at >= 0 and (message["n"] - at) // 1024 + KEEP_FREE_KB > storage.free_kb():
            raise Refusal(faults.NO_ROOM)
        if at >= 0 and message.get("b"):
            data = binascii.a2b_base64(message["b"])
            if message["at"] > at or message["at"] + len(data) > message["n"]:
                raise Refusal(faults.BAD_OFFSET)
            at = storage.put(digest, message["at"], data)
        return {"at": at}

    def _keep(self, message: dict) -> None:
        self._refuse_in_class()
        try:
            if not self._storage.finish_put(message["d"]):
                raise Refusal(faults.NOT_WHOLE)
        except VersionError:
            raise Refusal(faults.VERSION)
        self._take_plan(message["d"], False)

    def _select(self, message: dict) -> None:
        self._take_plan(message["d"], False)

    def _take_plan(self, digest: str, for_another: bool) -> None:
        self._refuse_in_class()
        if not self._session.select(digest, for_another):
            is_here = digest in self._storage.timelines()
            raise Refusal(self._session.unloaded if is_here else faults.NOT_FOUND)

    # Files out

    def _list(self, message: dict) -> dict:
        self._refuse_in_class()
        return list_file(self._storage, message, self._session.open_run)

    def _get(self, message: dict) -> dict:
        return get_piece(self._storage, message)

    def _drop(self, message: dict) -> dict:
        self._refuse_in_class()
        session = self._session
        if drop_file(self._storage, message, session.open_run):
            if message["of"] == RUNS:
                session.log.dropped(message["name"])
            else:
                session.drop(message["name"])
        return {"gone": True}

    # The class

    def _refuse_start(self, utc_ms: int) -> None:
        """Refuse a start that this box's clock can't keep, or that is too near or too far."""
        keeper = self._keeper
        unfit = keeper.unfit()
        if unfit:
            raise Refusal(unfit)
        ahead_ms = utc_ms - keeper.utc_ms()
        if ahead_ms < ARM_LEAST_MS:
            raise Refusal(faults.TOO_LATE)
        if ahead_ms > ARM_MOST_MS:
            raise Refusal(faults.TOO_FAR)

    def _make_room(self, message: dict, anew: bool) -> None:
        """Be ready for a run of the timeline ``d``; refuse what keeps from it.

        With ``anew`` no start that is set stays.
        """
        session = self._session
        if self._power.low:
            raise Refusal(faults.BATTERY_LOW)
        if not session.start_only:
            raise Refusal(faults.BUSY)
        if not self._storage.read_settings():
            raise Refusal(faults.FLASH_ERROR)
        if self._storage.free_kb() < KEEP_FREE_KB:
            raise Refusal(faults.NO_ROOM)
        session.take_clock()  # from here on something changes
        if session.selected != message["d"]:
            self._take_plan(message["d"], True)
        if session.runner.state in (OVER, FAULT) and not session.select(session.selected, True):
            raise Refusal(faults.FLASH_ERROR)
        # A start by hand was set by another clock; and whose word a run heeds stands in its log.
        if session.in_class and (session.runner.by_hand or anew or session.runner.heeds):
            session.disarm()
        session.give_up(True)

    def _arm(self, message: dict) -> dict:
        session = self._session
        key, utc_ms = _key_of(message), message["utc_ms"]
        if utc_ms or not key:
            self._refuse_start(utc_ms)
        self._make_room(message, bool(key))
        if not utc_ms:
            session.stand_by(key)
        else:
            if key:
                session.heed(key)
            session.arm(session.clock.run_ms_of_utc(utc_ms))
        self._desk.armed()
        return {"utc_ms": utc_ms}

    def _join(self, message: dict) -> None:
        key = _key_of(message)
        unfit = self._keeper.unfit()
        if unfit:
            raise Refusal(unfit)
        self._make_room(message, True)
        from .late import come_late  # seldom needed

        if not come_late(self._session, message, key):
            raise Refusal(faults.TOO_LATE)
        self._desk.joined()

    def _disarm(self, message: dict) -> None:
        session = self._session
        if not session.start_only:
            raise Refusal(faults.BUSY)
        if session.in_class:
            session.disarm()
        session.give_up()  # before the host is told so

    def _test(self, message: dict) -> dict:
        if self._session.in_class:
            raise Refusal(faults.BUSY)
        return self._desk.self_test(message)

    def _yield(self, message: dict) -> None:
        if self._session.in_class:
            raise Refusal(faults.BUSY)
        self._desk.leave = True


def _key_of(message: dict) -> bytes:
    """Return the key of the remote that is to lead and the number of stations, b"" for none."""
    key = binascii.unhexlify(message.get("key", ""))
    if key:
        from handbell_core.telegram import KEY_SIZE  # loaded only where a remote leads

        if len(key) != KEY_SIZE:
            raise Refusal(faults.BAD_REQUEST)
        key += bytes((message.get("stations", 0),))
    return key


TABLE = {
    "hello": Requests._hello,
    "status": Requests._status,
    "erred": Requests._erred,
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
    "join": Requests._join,
    "disarm": Requests._disarm,
    "test": Requests._test,
    "yield": Requests._yield,
}
