"""What a box does with its flash, and what must hold after power failed in the middle of it.

Each scenario is a class: ``before`` fills a flash, ``act`` is cut off, ``check`` looks at what
the next start finds and returns (promised records that are missing, what else is wrong).
"""

import binascii
import io
import os

import steps

from box.log import Log
from box.storage import RUNS, TIMELINES
from box.transfer import FLUSH_EVERY, KEEP_TIMELINES, Transfer
from handbell_core import journal
from handbell_core.timeline import digest_of
from made import lead_in, rest, timeline_bytes, window

ROOT = "/pc"
CHUNK = 180
LONG = 100  # windows: some 8 KB
LABELS = ("", "Door", "By the window at the far end")


def timeline(number, windows=3):
    spans = [lead_in()]
    for _ in range(windows):
        spans += [window(), rest()]
    return timeline_bytes(spans, strings=(b"Title", b"Station %d" % number, b"Burpee"))


def digest(data):
    return binascii.hexlify(digest_of(io.BytesIO(data))).decode()


def send(storage, data):
    """Put a whole timeline on the box as the link does, going on where it was cut off."""
    name = digest(data)
    at = storage.put_at(name)
    while 0 <= at < len(data):
        at = storage.put(name, at, data[at : at + CHUNK])
    if not storage.finish_put(name):
        raise ValueError("a transfer that was resumed is not whole")


def tap(number):
    return journal.tap_record(0, 1, number * 250, 7, 90, number, 0)


def play(storage, taps, written):
    """Keep the log of a class; ``written(n)`` is told that n records are on the flash."""
    log = Log(storage)
    log.open()
    n = 0
    while n < taps:
        for _ in range(min(taps - n, 1 + n % 7)):
            log.keep(tap(n))
            n += 1
        if not log.write():
            return
        written(n)
    log.close()


def records(storage, name):
    """Return how many records of a journal are the ones written, in order, and what is wrong."""
    with open(storage.find(RUNS, name), "rb") as f:  # noqa: PTH123
        good, broken = journal.parse(f.read())
    for n, rec in enumerate(good):
        if rec[3] != n * 250:
            return n, [f"record {n} of {name} is another"]
    return len(good), [f"{broken} broken records in {name}"] if broken else []


def look(storage):
    """Return what is wrong with any box: each listed timeline must verify and be what it says."""
    wrong = []
    for name in storage.timelines():
        try:
            with storage.open_timeline(name):
                pass
            if storage.digest(storage.find(TIMELINES, name)) != name:
                wrong.append(f"timeline {name} is another")
        except Exception as error:
            wrong.append(f"timeline {name}: {error!r}")
    for name in storage.runs():
        storage.size(storage.find(RUNS, name))
    return wrong


class Send:
    """Two timelines arrive, one after the other."""

    first, second = timeline(1), timeline(2, LONG)

    def before(self):
        send(Transfer(ROOT), timeline(3))

    def act(self, promise):
        storage = Transfer(ROOT)
        for data in (self.first, self.second):
            send(storage, data)
            promise(data)

    def check(self, storage, promised):
        have = storage.timelines()
        promised.append(timeline(3))
        return 0, ["a kept timeline is gone"] * sum(digest(d) not in have for d in promised)


class Crowd:
    """The timeline that makes the oldest go, and the one chosen last stay."""

    def before(self):
        storage = Transfer(ROOT)
        for number in range(KEEP_TIMELINES):
            send(storage, timeline(10 + number, 1))
        storage.save(last=digest(timeline(10, 1)))

    def act(self, promise):
        send(Transfer(ROOT), timeline(40))
        promise(timeline(40))

    def check(self, storage, promised):
        have = storage.timelines()
        promised.append(timeline(10, 1))
        return 0, ["a timeline is gone"] * sum(digest(d) not in have for d in promised)


class Class:
    """A class of 400 taps after another one, with the settings that its end changes."""

    TAPS = 400

    def before(self):
        storage = Transfer(ROOT)
        send(storage, timeline(1))
        play(storage, 20, lambda n: None)

    def act(self, promise):
        play(Transfer(ROOT), self.TAPS, promise)

    def check(self, storage, promised):
        kept, wrong = records(storage, "00001.hbj")
        lost = 20 - kept
        if promised:
            kept, more = records(storage, "00002.hbj")
            lost += max(0, promised[-1] - kept)
            wrong += more
        return lost, wrong


class Unflushed(Class):
    """The control: a log that is not flushed must be seen to lose what it promised."""

    def act(self, promise):
        _, f = Transfer(ROOT).new_run()
        for n in range(self.TAPS):
            f.write(tap(n))
            promise(n + 1)
        f.close()


class Recover:
    """The start after a power cut in a class, itself cut off."""

    TAPS = 40

    def before(self):
        storage = Transfer(ROOT)
        log = Log(storage)
        log.open()
        for n in range(self.TAPS):
            log.keep(tap(n))
            if n % 3 == 0:
                log.write()
        log.write()

    def act(self, promise):
        Transfer(ROOT)

    def check(self, storage, promised):
        kept, wrong = records(storage, "00001.hbj")
        return self.TAPS - kept, wrong


class Erase:
    """The first of two journals is erased, then a timeline."""

    def before(self):
        storage = Transfer(ROOT)
        send(storage, timeline(1))
        send(storage, timeline(2))
        for _ in range(2):
            play(storage, 45, lambda n: None)

    def act(self, promise):
        storage = Transfer(ROOT)
        storage.remove(storage.find(RUNS, "00001.hbj"))
        promise("run")
        storage.remove(storage.find(TIMELINES, digest(timeline(1))))
        promise("timeline")

    def check(self, storage, promised):
        kept, wrong = records(storage, "00002.hbj")
        lost = 45 - kept
        if "00001.hbj" in storage.runs():
            kept, more = records(storage, "00001.hbj")
            lost += 45 - kept
            wrong += more + ["an erased journal came back"] * ("run" in promised)
        have = storage.timelines()
        if digest(timeline(2)) not in have:
            wrong.append("a timeline is gone")
        if "timeline" in promised and digest(timeline(1)) in have:
            wrong.append("an erased timeline came back")
        return lost, wrong


class GiveUp:
    """A log that an earlier cut left without an end gets one: no run of it comes back."""

    TAPS = 25  # more than the tail holds

    def before(self):
        log = Log(Transfer(ROOT))
        log.open()
        for n in range(self.TAPS):
            log.keep(tap(n))
            log.write()

    def act(self, promise):
        storage = Transfer(ROOT)
        storage.give_up(storage.runs()[-1])
        promise(1)

    def check(self, storage, promised):
        name = storage.runs()[-1]
        came_back = storage.unfinished() == name
        with open(storage.find(RUNS, name), "rb") as f:  # noqa: PTH123
            taps = [rec for rec in journal.parse(f.read())[0] if rec[0] == journal.TAP]
        wrong = ["a run comes back though its end was promised"] if promised and came_back else []
        if [rec[3] for rec in taps] != [n * 250 for n in range(len(taps))]:
            wrong.append("its records are others")
        return self.TAPS - len(taps), wrong


class Settings:
    """Settings are saved eight times."""

    def before(self):
        Transfer(ROOT).save(station=3, label=LABELS[0])

    def act(self, promise):
        storage = Transfer(ROOT)
        for n in range(1, 9):
            storage.save(starts=n, label=LABELS[n % 3])
            promise(n)

    def check(self, storage, promised):
        least = promised[-1] if promised else 0
        have = storage.settings
        good = have["station"] == 3 and least <= have["starts"] <= least + 1
        good = good and have["label"] == LABELS[have["starts"] % 3]
        return 0, [] if good else [f"settings are {have} after {least} saves"]


class Prepare:
    """A new firmware is put on, by the very steps that ``handbell prepare`` took, and tried."""

    def before(self):
        self.replay(steps.FRESH)
        self.start()

    def act(self, promise):
        Transfer(ROOT)
        self.replay(steps.UPGRADE)
        self.attempt()
        promise("2")

    def replay(self, todo):
        os.chdir(ROOT)
        for step in todo:
            if step[0] == "run":
                exec(step[1], {"print": lambda *words: None})
            else:
                with open(step[1], "wb") as f:  # noqa: PTH123
                    for at in range(0, len(step[2]), 1024):
                        f.write(step[2][at : at + 1024])

    def check(self, storage, promised):
        said = self.start()
        if said != ["2"] and (promised or said != ["1"]):
            return 0, [f"the firmware started is {said}"]
        self.replay(steps.UPGRADE)
        said = self.start()
        return 0, [] if said == ["2"] else [f"prepared again, the firmware started is {said}"]

    def attempt(self):
        """Start what is on trial as main.py does, and let it stand; raises OSError when cut off.

        main.py itself would go on to the other firmware, which needs power.
        """
        import told

        with open("main.py") as f:  # noqa: PTH123
            scope = {}
            exec(f.read().split("\ntry:\n    start()")[0], scope)
        scope["load"](scope["on_trial"]()).main()
        told.forget()

    def start(self):
        """Run main.py; return what the firmware that it chose said."""
        import told

        os.chdir(ROOT)
        del told.said[:]
        with open("main.py") as f:  # noqa: PTH123
            exec(f.read(), {"print": lambda *words: None})
        told.forget()
        return list(told.said)


def go_on(storage):
    """Return what is wrong when the box is used after the cut as if nothing had been."""
    wrong = []
    storage.save(starts=99)
    for number in (1, 2, 50):
        send(storage, timeline(number, LONG if number == 2 else 3))
    play(storage, 30, lambda n: None)
    again = Transfer(ROOT)
    if again.settings["starts"] != 99:
        wrong.append("settings no longer change")
    name = again.runs()[-1]
    kept, more = records(again, name)
    if kept != 30:
        wrong.append(f"a later class kept {kept} of 30 records")
    return wrong + more + look(again)


ALL = (Send, Crowd, Class, Recover, Erase, GiveUp, Settings, Prepare)
assert FLUSH_EVERY > CHUNK
