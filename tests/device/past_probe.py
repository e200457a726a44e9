"""Runs under MicroPython: reads a long run back as a box does at its start, and tells the result.

Arguments: how many presses there were in the last window, and in how many windows before it.
"""

import io
import sys

from box.account import Totals
from box.past import read_past
from box.reading import each_record
from handbell_core import journal as j
from handbell_core.counting import Counting
from handbell_core.recall import Recall
from made import lead_in, rest, timeline_bytes, window


class Run:
    """A journal that is made while it is read: a chip holds one on its flash, not in memory."""

    def __init__(self, presses, windows):
        self._records = self._made(presses, windows)

    def _made(self, presses, windows):
        yield j.run_record(bytes(12), 1)
        for number in range(1, windows + 1):
            yield from self._presses(number, 40)
            for slot, bib in enumerate((7, 8)):
                payload = bytes((bib, 0, 20, 0)) + bytes(8)
                yield j.record(j.RESULT, slot, number, number * 20_000, payload)
        yield from self._presses(windows + 1, presses)

    def _presses(self, number, count):
        start_ms = 5_000 + (number - 1) * 15_000
        for n in range(count):
            at_ms = start_ms + n * 10_000 // count
            yield j.tap_record(n % 2, number, at_ms, 7 + n % 2, 90, n // 2 + 1, 0)

    def read(self, size):
        out = b""
        while len(out) < size:
            record = next(self._records, None)
            if record is None:
                break
            out += record
        return out

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


class Storage:
    def __init__(self, presses, windows):
        spans = [lead_in(5_000)]
        for _ in range(windows + 1):
            spans += [window(10_000), rest(5_000)]
        self._timeline = timeline_bytes(spans)
        self.last = spans[-4:]
        self._run = presses, windows

    def open_run(self, name):
        return Run(*self._run)

    def open_timeline(self, digest):
        return io.BytesIO(self._timeline)


presses, windows = int(sys.argv[1]), int(sys.argv[2])
storage = Storage(presses, windows)
past = read_past(storage, "00001.hbj")
counts = Counting(None)
if windows:
    counts.begin(storage.last[0])
    counts.end()
counts.begin(storage.last[-2])
totals = Totals()
again = Recall(counts, totals)
each_record(storage.open_run(past.name), again.look)
each_record(storage.open_run(past.name), again.take)
print(past.taps, counts.window, counts.now[0].taps, counts.now[1].taps, counts.before[0].taps)
totals.add_up()
print(totals.sums())
