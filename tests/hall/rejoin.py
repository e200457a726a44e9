"""Power fails in a class on the runner: what the journal says of it, and the class gone on with.

The box's own modules read the journal back (``box.past``) between made-up storage and app.
"""

from __future__ import annotations

import io
import random
from types import SimpleNamespace

from check import Verdict, bells_are, last_results, records_of, states_are, taps_are
from drive import BoxRun
from oracle import Oracle
from script import make

from box.past import read_past
from box.reading import each_record
from handbell_core import journal as j
from handbell_core.recall import Recall

NAME = "00001.hbj"
DIGEST = bytes(range(12))
AT_ONCE_MS = 5  # what is due just as it comes back may ring or not
GOES_ON = ("play", "tally", "gate")


def go_on(run: BoxRun) -> bool:
    """Start the box of ``run`` anew: its journal is read, and its class gone on with."""
    journal = j.run_record(DIGEST, 1) + b"".join(run.seen.sink.records)
    storage = SimpleNamespace(
        open_run=lambda name: io.BytesIO(journal),
        open_timeline=lambda digest: io.BytesIO(run.data),
        settings={"start_ms": 0, "start_run": ""},
    )
    past = read_past(storage, NAME)
    run.down.clear()
    run._new_run()
    session = SimpleNamespace(
        storage=storage,
        selected=DIGEST.hex(),
        clock=run.clock,
        runner=run.runner,
        run_ms=lambda: run._run_ms(run.now_us),
        account=SimpleNamespace(
            go_on=lambda past, clock: None, recall=lambda counting: recall(counting, journal)
        ),
        dated_by=lambda: None,
    )
    return past.go_on(session)


def recall(counting, journal: bytes) -> None:
    """Count again what a journal says."""
    again = Recall(counting)
    for take in (again.look, again.take):
        each_record(io.BytesIO(journal), take)


def play(seed: str) -> Verdict | None:
    """Cut one class's power at random; None where the manual doesn't say what comes of it."""
    dice = random.Random(f"{seed} cut")
    script = make(seed, 1)
    run = BoxRun(script.plan, script.boxes[0])
    if run.seen.base_utc_ms is None:
        return None
    run.reader.fails_at.clear()
    run.todo = [one for one in run.todo if "fail" not in one[2]]
    starts_ms = max((s.a for s in script.boxes[0].steps if s.what == "arm"), default=10_000)
    length_ms = sum(span.duration_ms for span in run.spans)
    run.play((starts_ms + dice.randint(1, length_ms)) * 1000)
    before = run.seen
    oracle = _told(run)
    cut_ms = before.last_ms
    wanted = oracle.wanted
    if run.down or wanted.unclear_ms < cut_ms or oracle.state not in GOES_ON or oracle.page:
        return None
    run.now_us += dice.choice((300, 2_000, 15_000, 60_000)) * 1000
    back_ms = before.base_utc_ms and run._run_ms(run.now_us)
    run.todo = [one for one in run.todo if one[1] > run.now_us]
    oracle.to(back_ms)
    entered = oracle.window
    if oracle.state not in GOES_ON:
        return None
    out = Verdict()
    out.hold("whether it goes on with its class", True, go_on(run))
    if out.wrong:
        return out
    after = run.seen
    shift_ms = after.base_utc_ms - before.base_utc_ms
    run.play((script.ends_ms + 600_000) * 1000)
    _tell(oracle, after, shift_ms)
    oracle.to(after.last_ms + shift_ms)
    _judge(out, run, oracle, before, shift_ms, back_ms, entered)
    return out


def _told(run: BoxRun) -> Oracle:
    plan = run.script, run.reader.head
    oracle = Oracle(run.spans, plan[1].grid_s, plan[1].count_s, run.seen.base_utc_ms)
    _tell(oracle, run.seen, 0)
    oracle.to(run.seen.last_ms)
    return oracle


def _tell(oracle: Oracle, seen, shift_ms: int) -> None:
    for at_ms, what, a in sorted(seen.events, key=lambda event: event[0]):
        if what == "arm":
            oracle.arm(a + shift_ms, at_ms + shift_ms)
        elif what == "disarm":
            oracle.disarm(at_ms + shift_ms)
        elif what in ("press", "release"):
            getattr(oracle, what)(a, at_ms + shift_ms)


def _judge(
    out: Verdict, run: BoxRun, oracle: Oracle, before, shift_ms: int, back_ms: int, entered: int
) -> None:
    """Hold the time after the cut against the class as if its power had not failed.

    It comes back in the window ``entered`` or after it; windows before that may have no result.
    """
    after, wanted = run.seen, oracle.wanted
    out.unclear = wanted.unclear
    until_ms = min(wanted.unclear_ms, after.last_ms + shift_ms)
    after.sink.bells = [(ms + shift_ms, cue) for ms, cue in after.sink.bells if ms < 1 << 29]
    after.looks = [(ms + shift_ms, *rest) for ms, *rest in after.looks]
    if wanted.unclear_ms >= 1 << 40:  # else nobody can say how it goes on
        out.hold("whether it is over", oracle.state == "over", bool(after.sink.ended))
    after.events = [(ms + shift_ms, *rest) for ms, *rest in after.events]
    wanted.bells = [bell for bell in wanted.bells if bell[0] > back_ms + AT_ONCE_MS]
    after.sink.bells = [bell for bell in after.sink.bells if bell[0] > back_ms + AT_ONCE_MS]
    bells_are(out, wanted, after, until_ms)
    records = records_of(before) + records_of(after)
    taps_are(out, wanted, records, until_ms)
    states_are(out, wanted, after, until_ms)
    if wanted.unclear_ms < 1 << 40 or oracle.state != "over":
        return
    told = last_results(records)
    for (window, slot), count in oracle.counts.items():
        seen = told.get((slot, window))
        if seen is None:
            if count.asked and window >= entered:
                out.wrong.append(f"no result of button {slot} in window {window}, after the cut")
        elif count.asked:
            where = f"button {slot} in window {window}"
            out.hold(f"reps of {where}, after the cut", count.reps, seen[0])
            out.hold(f"skipped, {where}", count.skipped, bool(seen[3] & j.RES_SKIPPED))
