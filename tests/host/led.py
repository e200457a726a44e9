"""Classes that a remote leads, for tests: logs by the core's own runner, with or without a clock."""

import io

from classes import BOX_IDS, START_UTC_MS, ZERO_MS, Piece, Press, Run, digest_of, timeline

from handbell.store.logs import journals, recount, timelines
from handbell_core import journal as j
from handbell_core import timeline as t
from handbell_core.agreement import OVER, RUNS, STANDS, Act
from handbell_core.clock import ClockModel, RunTime
from handbell_core.led import Led
from handbell_core.recall import Recall
from handbell_core.runner import NEVER

HEARD_BEFORE_MS = 500
KEY = b"by a key"
COLLECTED_US = (START_UTC_MS + 3_600_000) * 1000


class LedRun(Run):
    """A log that is read back when the class goes back, as a box does."""

    def recall(self, counting):
        """Count again what still holds."""
        recall = Recall(counting)
        for record in self.records:
            recall.look(record, 0)
        for record in self.records:
            recall.take(record, 0)


def start(at_ms=0):
    return RUNS, 0, at_ms


def pause(class_ms, at_ms):
    return STANDS, class_ms, at_ms


def run_on(class_ms, at_ms):
    return RUNS, class_ms, at_ms


def stop(class_ms, at_ms):
    return OVER, class_ms, at_ms


def play_led(
    data,
    acts,
    presses=(),
    misses=(),
    late=None,
    clock=True,
    until_ms=None,
    boot=1,
    waits_ms=None,
    key=KEY,
):
    """Play a timeline by acts (what, class_ms, at_ms), numbered from 1; return its run.

    Times are from the first start on. The box ``misses`` some numbers and hears others as many ms
    ``late`` after their instant, as the remote tells them then. It is armed to wait for the
    remote's word at ``waits_ms``.
    """
    model = ClockModel((START_UTC_MS - ZERO_MS) * 1000, 0) if clock else None
    run = LedRun()
    head = t.Reader(io.BytesIO(data)).head
    run.keep(j.run_record(bytes.fromhex(digest_of(data)), head.station, True))
    run.keep(j.record(j.BOX, 0, 0, 0, bytes(8) + bytes((60, 15, boot, 0))))
    run.keep(j.record(j.HEEDS, 0, 0, 0, key))
    runner = Led(t.Reader(io.BytesIO(data)), RunTime(0, 0, model), run)
    runner.heed()
    if waits_ms is not None:
        runner.wait_again(0, ZERO_MS + waits_ms, j.BY_HOST)
    events = [(p.at_ms, 1, (p.slot, True)) for p in presses]
    events += [(p.at_ms + p.held_ms, 0, (p.slot, False)) for p in presses]
    for number, (what, class_ms, at_ms) in enumerate(acts, 1):
        if number in misses:
            continue
        act = Act(number, what, class_ms, ZERO_MS + at_ms)
        after_ms = (late or {}).get(number, -HEARD_BEFORE_MS)
        heard = act.as_it_is(ZERO_MS + at_ms + after_ms, NEVER)
        events.append((at_ms + after_ms, 2, heard))
    for at_ms, kind, arg in sorted(events, key=lambda event: event[:2]):
        _to(runner, run, ZERO_MS + at_ms)
        if kind == 2:
            runner.hear(arg, ZERO_MS + at_ms)
        elif arg[1]:
            runner.press(arg[0], ZERO_MS + at_ms)
        else:
            runner.release(arg[0], ZERO_MS + at_ms)
    _to(runner, run, NEVER - 1 if until_ms is None else ZERO_MS + until_ms)
    return run


def _to(runner, run, to_ms):
    while runner.due_ms <= to_ms:
        run.now_ms = runner.due_ms - ZERO_MS
        runner.step(runner.due_ms)
    runner.step(to_ms)
    run.now_ms = to_ms - ZERO_MS


def counted(data, run):
    """Return a log and what it comes to."""
    found = journals.read(run.journal)
    return found, recount.recount(timelines.decode(data).windows, found.records)


def put(store, boxes, **how):
    """Put a class into the store: for each box its ways of ``play_led``."""
    for n, one in enumerate(boxes):
        one = dict(one)
        data = timeline(bibs=(n + 1,), station=n + 1, **how)
        store.put_timeline(data)
        run = play_led(data, one.pop("acts"), one.pop("presses", ()), **one)
        store.ingest(run.journal, BOX_IDS[n], COLLECTED_US)


__all__ = ["BOX_IDS", "Piece", "Press", "counted", "pause", "play_led", "put", "run_on", "start"]
