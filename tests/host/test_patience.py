"""Long searches: they say that they go on, and whoever stops them isn't kept waiting."""

import os
import random
import signal
import sys
import time

import pytest

from handbell.base.progress import Cancelled
from handbell.coach import solver
from handbell.work.planning import patience
from handbell.work.planning.patience import patiently

ENDLESS_S = 600.0


def never_done():
    """Four sums of 60 odd weights at once: by chance no choice makes them, and no proof is short."""
    rng = random.Random(3)
    model = solver.new_model()
    chosen = [model.new_bool_var("") for _ in range(60)]
    for _ in range(4):
        weights = [rng.randrange(1, 10**6) for _ in chosen]
        model.add(sum(w * x for w, x in zip(weights, chosen, strict=True)) == sum(weights) // 2)
    return solver.search(model, ENDLESS_S)


def test_what_a_search_returns_or_raises_comes_through():
    told = []
    assert patiently(lambda: 7, lambda *at: told.append(at), "block 1", "looking", 20) == 7
    with pytest.raises(ZeroDivisionError):
        patiently(lambda: 1 // 0, lambda *at: told.append(at), "block 1", "looking", 20)
    assert told == [], "what is quick needs no sign"


def test_a_search_says_that_it_goes_on_until_it_is_cancelled(monkeypatch):
    monkeypatch.setattr(patience, "SILENT_S", 0.0)
    told = []

    def progress(of, doing, done, total):
        told.append((of, doing, done, total))
        if len(told) == 3:
            raise Cancelled("Stopped")

    began = time.monotonic()
    with pytest.raises(Cancelled):
        patiently(never_done, progress, "block 1", "looking", 2)
    assert time.monotonic() - began < ENDLESS_S / 10
    assert {at[:2] for at in told} == {("block 1", "looking")}
    assert all(done <= total for *_, done, total in told)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no signals to send")
def test_ctrl_c_ends_a_search_as_it_ends_a_command(monkeypatch):
    monkeypatch.setattr(patience, "SILENT_S", 0.0)

    def progress(*at):
        os.kill(os.getpid(), signal.SIGINT)

    began = time.monotonic()
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background
    try:
        with pytest.raises(KeyboardInterrupt):
            patiently(never_done, progress, "block 1", "looking", 2)
    finally:
        signal.signal(signal.SIGINT, before)
    assert time.monotonic() - began < ENDLESS_S / 10


def test_a_stopped_job_begins_no_other_search():
    stop = solver.Stop()
    stop()
    with pytest.raises(solver.StoppedError):
        stop.within(never_done)
