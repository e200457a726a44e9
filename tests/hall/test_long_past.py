"""A class that the power cut off is read back in the same memory, however long it was."""

import io
import tracemalloc
from types import SimpleNamespace

import pytest

from box.past import read_past
from box.reading import each_record
from handbell_core import journal as j
from handbell_core.counting import Counting
from handbell_core.recall import Recall
from made import lead_in, rest, timeline_bytes, window

MOST_BYTES = 48_000


class Run:
    """A journal of presses that is made while it is read."""

    def __init__(self, windows, presses):
        self._records = self._made(windows, presses)
        self._rest = b""

    def _made(self, windows, presses):
        yield j.run_record(bytes(12), 1)
        for number in range(1, windows + 1):
            for n in range(presses):
                at_ms = 5_000 + (number - 1) * 15_000 + n * 10_000 // presses
                yield j.tap_record(n % 2, number, at_ms, 7 + n % 2, 90, n // 2 + 1, 0)
            for slot in (0, 1):
                payload = bytes((7 + slot, 0, 20, 0)) + bytes(8)
                yield j.record(j.RESULT, slot, number, 0, payload)

    def read(self, size=1 << 30):
        out = bytearray(self._rest)
        while len(out) < size:
            record = next(self._records, None)
            if record is None:
                break
            out += record
        self._rest = bytes(out[size:])
        return bytes(out[:size])

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


@pytest.mark.parametrize(("windows", "presses"), [(1, 20_000), (120, 40)])
def test_a_long_run_is_read_back_in_little_memory(windows, presses):
    spans = [lead_in(5_000)]
    for _ in range(windows):
        spans += [window(10_000), rest(5_000)]
    timeline = timeline_bytes(spans)
    storage = SimpleNamespace(
        open_run=lambda name: Run(windows, presses),
        open_timeline=lambda digest: io.BytesIO(timeline),
    )
    tracemalloc.start()
    try:
        past = read_past(storage, "00001.hbj")
        counting = Counting(None)
        counting.begin(spans[-2])
        again = Recall(counting)
        for take in (again.look, again.take):
            each_record(Run(windows, presses), take)
        most = tracemalloc.get_traced_memory()[1] - len(timeline)
    finally:
        tracemalloc.stop()
    assert past.taps == windows * presses
    assert counting.now[0].taps == presses // 2
    assert most < MOST_BYTES
