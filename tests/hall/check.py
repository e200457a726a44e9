"""Holds what a runner did against what the oracle wants, and the journal against itself."""

from __future__ import annotations

import bisect
import struct
from collections import defaultdict

from drive import BoxRun, Seen
from oracle import Oracle
from oracle_state import DOOR as DOOR_PAGE
from oracle_state import LIST as LIST_PAGE

from handbell_core import journal as j
from handbell_core.runner import DOOR, NEVER, SURE
from handbell_core.taps import SlotCount
from handbell_core.timeline import ASK_OPEN, HAND_OVER, TAP_EACH

CAUSES = {"time": j.BY_TIME, "host": j.BY_HOST, "stop": j.BY_STOP}
SETTLED_MS = 40  # edges are known 25 ms late


class Verdict:
    """What is wrong with one run, and how much of it was held against the manual."""

    def __init__(self) -> None:
        self.wrong: list[str] = []
        self.checks = 0
        self.unclear = ""

    def hold(self, what: str, wanted: object, seen: object) -> None:
        """Note a difference."""
        self.checks += 1
        if wanted != seen:
            self.wrong.append(f"{what}: wanted {wanted}, got {seen}")


def foretold(run: BoxRun, seen: Seen, grid_s: int, count_s: int) -> Oracle:
    """Return the oracle after everything that this run was told."""
    oracle = Oracle(run.spans, grid_s, count_s, seen.base_utc_ms)
    for at_ms, what, a in sorted(seen.events, key=lambda event: event[0]):
        if what == "press":
            oracle.press(a, at_ms)
        elif what == "release":
            oracle.release(a, at_ms)
        elif what == "arm":
            oracle.arm(a, at_ms)
        elif what == "disarm":
            oracle.disarm(at_ms)
        else:
            oracle.to(at_ms)
            oracle.disturbed, oracle.disturbed_ms = what == "fail", at_ms
    oracle.to(seen.last_ms)
    return oracle


def records_of(seen: Seen) -> list[tuple[int, int, int, int, bytes]]:
    """Return the journal, parsed."""
    return [rec for rec in map(j.parse_record, seen.sink.records) if rec is not None]


def check(run: BoxRun, seen: Seen, grid_s: int, count_s: int) -> Verdict:
    """Return what is wrong with one run of a box."""
    out = Verdict()
    out.wrong += seen.wrong
    oracle = foretold(run, seen, grid_s, count_s)
    wanted = oracle.wanted
    until_ms = min(wanted.unclear_ms, seen.last_ms)
    out.unclear = wanted.unclear if wanted.unclear_ms < seen.last_ms else ""
    records = records_of(seen)
    bells_are(out, wanted, seen, until_ms)
    taps_are(out, wanted, records, until_ms)
    if not out.unclear:
        told_are(out, wanted, records)
        ratings_are(out, wanted, records)
        results_are(out, oracle, records)
        end_is(out, wanted, seen)
    states_are(out, wanted, seen, until_ms)
    recount(out, run, records)
    out.hold("bells off by more than 2 ms", 0, max(0, seen.worst_us - 2_000))
    return out


def bells_are(out: Verdict, wanted, seen: Seen, until_ms: int) -> None:
    """The sheet's cues, each at its time, none besides."""
    rung = sorted(bell for bell in seen.sink.bells if bell[0] < min(until_ms, NEVER))
    due = sorted(bell for bell in wanted.bells if bell[0] < until_ms)
    if rung != due:
        for bell in sorted(set(due) - set(rung)):
            out.hold(f"bell at {bell[0]} ms", bell[1], None)
        for bell in sorted(set(rung) - set(due)):
            out.hold(f"bell at {bell[0]} ms", None, bell[1])
        out.hold("bells told twice", len(set(rung)), len(rung))
    out.checks += len(due)


def taps_are(out: Verdict, wanted, records, until_ms: int) -> None:
    """Every tap is in the journal once, where it belongs."""
    told = defaultdict(list)
    for kind, slot, window, class_ms, payload in records:
        if kind == j.TAP:
            bib, held_ms, _, flags = struct.unpack_from("<HHHB", payload)
            told[slot, held_ms].append((class_ms, window, bib, flags & ~j.TAP_DOUBT))
    for tap in sorted(wanted.taps, key=lambda one: (not one.due, one.at_ms)):
        mine = [t for t in told[tap.slot, tap.held_ms] if t[0] == tap.class_ms or not tap.due]
        out.checks += 1
        if not mine:
            if tap.due and tap.at_ms + tap.held_ms < until_ms:
                out.wrong.append(f"not in the journal: {tap}")
            continue
        mine.sort(key=lambda one: one[1] != tap.window)  # at a gate class time stands
        told[tap.slot, tap.held_ms].remove(mine[0])
        if not tap.due or tap.at_ms + tap.held_ms >= until_ms:
            continue
        _, window, bib, flags = mine[0]
        out.hold(f"window of the {tap}", tap.window, window)
        out.hold(f"bib of the {tap}", tap.bib, bib)
        counted = not flags & (j.TAP_OUTSIDE | j.TAP_EXTRA)
        out.hold(f"whether it counts, the {tap}", tap.counts, counted)
        if tap.counts:
            out.hold(f"whether in a tally, the {tap}", tap.in_tally, bool(flags & j.TAP_TALLIED))
    if not out.unclear:
        for (slot, held_ms), left in told.items():
            for tap in left:
                out.wrong.append(f"nobody made this tap: button {slot}, {held_ms} ms, {tap}")


def told_are(out: Verdict, wanted, records) -> None:
    """Take-backs, their withdrawals, confirmations: each once, in order."""
    names = {j.BACK: "back", j.FORTH: "forth", j.CONFIRM: "confirm"}
    told = [(names[rec[0]], rec[1], rec[2]) for rec in records if rec[0] in names]
    due = [what[1:] for what in sorted(wanted.told, key=lambda one: one[0])]
    out.hold("take-backs and confirmations", sorted(due), sorted(told))


def ratings_are(out: Verdict, wanted, records) -> None:
    """Each answer at every tap."""
    told = [struct.unpack_from("<HB", rec[4]) for rec in records if rec[0] == j.RATED]
    due = [(bib, rating) for _, bib, rating in wanted.ratings]
    out.hold("ratings", sorted(due), sorted(told))


def last_results(records) -> dict[tuple[int, int], tuple[int, int, int, int]]:
    """Return (reps, made_ms, held_ds, flags) by (slot, window); the last one holds."""
    out = {}
    for kind, slot, window, _, payload in records:
        if kind == j.RESULT:
            out[slot, window] = struct.unpack_from("<HHiHB", payload)[1:]
    return out


def results_are(out: Verdict, oracle: Oracle, records) -> None:
    """Each bib's result in each window."""
    if oracle.state != "over":
        return
    told = last_results(records)
    for (window, slot), count in oracle.counts.items():
        if not count.bib:
            continue
        seen = told.get((slot, window))
        if seen is None:
            if count.asked:
                out.wrong.append(f"no result of button {slot} in window {window}")
            continue
        reps, made_ms, held_ds, flags = seen
        where = f"button {slot} in window {window}"
        free = j.RES_STOPPED if count.stop_may_show and not count.stopped else 0
        if count.skipped or count.stopped:
            free |= j.RES_UNCONFIRMED
        out.hold(f"flags of {where}", count.flags & ~free, flags & ~free)
        if not count.asked:
            continue
        out.hold(f"reps of {where}", count.reps, reps)
        out.hold(f"made_ms of {where}", count.made_ms, made_ms)
        out.hold(f"held_ds of {where}", count.held_ds, held_ds)


def end_is(out: Verdict, wanted, seen: Seen) -> None:
    """The class is over when it is, and for its reason."""
    if wanted.ended is None:
        out.hold("whether the class is over", None, seen.sink.ended)
        return
    cause, at_ms = wanted.ended
    out.hold("cause of the end", CAUSES[cause], seen.sink.ended and seen.sink.ended[0])
    out.hold("whether it ended too early", False, 0 <= seen.ended_ms < at_ms)
    out.hold("class time of the end", wanted.ended_class_ms, seen.sink.ended and seen.sink.ended[1])


def page_of(menu: int) -> str:
    """Return the page that a runner's ``menu`` means."""
    if menu < 0:
        return ""
    return DOOR_PAGE if menu == DOOR else "sure" if menu == SURE else LIST_PAGE


def states_are(out: Verdict, wanted, seen: Seen, until_ms: int) -> None:
    """At each look the box is in the state, and shows the page, that the manual says."""
    states = sorted(wanted.states, key=lambda one: one[0])
    pages = sorted(wanted.pages, key=lambda one: one[0])
    at_states = [one[0] for one in states]
    at_pages = [one[0] for one in pages]
    edges = [at_ms for at_ms, what, _ in seen.events if what not in ("fail", "works")]
    edges = sorted(edges + at_pages)  # a page may open a little late, and then closes late
    for run_ms, state, menu in seen.looks:
        if run_ms >= until_ms or not state:
            continue
        at = bisect.bisect_right(edges, run_ms)
        if at and run_ms - edges[at - 1] < SETTLED_MS:
            continue
        right = states[bisect.bisect_right(at_states, run_ms) - 1][1]
        _, page, choice = pages[bisect.bisect_right(at_pages, run_ms) - 1]
        out.checks += 1
        if right != state:
            out.wrong.append(f"state at {run_ms} ms: wanted {right}, got {state}")
            return
        out.checks += 1
        if page != page_of(menu) or (page == LIST_PAGE and choice != menu):
            wants = f"{page or 'no page'} {choice if page else ''}"
            out.wrong.append(f"page at {run_ms} ms: wanted {wants}, got {page_of(menu)} {menu}")
            return


def recount(out: Verdict, run: BoxRun, records) -> None:
    """The journal's taps counted again come to its results."""
    spans = {s.window: s for s in run.spans if s.kind == 3}
    counts: dict[tuple[int, int], SlotCount] = {}
    for kind, slot, window, class_ms, payload in records:
        if kind not in (j.TAP, j.BACK, j.FORTH, j.CONFIRM):
            continue
        if kind == j.TAP and payload[6] & (j.TAP_OUTSIDE | j.TAP_EXTRA):
            continue
        if (slot, window) not in counts:
            counts[slot, window] = SlotCount()
            if window not in spans:
                out.wrong.append(f"a counted press of window {window}, which there isn't")
                return
            span = spans[window]
            if span.flags & HAND_OVER:
                counts[slot, window].begin(span.cycle[slot].bib, ASK_OPEN, TAP_EACH, 1, 0)
            else:
                counts[slot, window].begin(span.bib[slot], *span.task(slot)[:4])
        counts[slot, window].replay(kind, class_ms)
    for (slot, window), (reps, made_ms, held_ds, _) in last_results(records).items():
        count = counts.get((slot, window)) or SlotCount()
        where = f"recount of button {slot} in window {window}"
        out.hold(f"{where}, reps", count.reps, reps)
        out.hold(f"{where}, made_ms", count.made_ms, made_ms)
        held = j.HELD_TO_END
        if count.drop_ms >= 0:
            held = (count.drop_ms - spans[window].start_ms) // 100
        out.hold(f"{where}, held", held, held_ds)
