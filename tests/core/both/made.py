"""Small timelines and a recording sink for the core's tests, on both runtimes."""

import io

from handbell_core.clock import RunTime
from handbell_core.led import Led
from handbell_core.recall import Recall
from handbell_core.runner import Runner
from handbell_core.timeline import (
    ASK_HOLD,
    ASK_OPEN,
    ASK_TARGET,
    BREAK,
    GATE,
    HAND_OVER,
    LAST_WINDOW,
    LEAD_IN,
    RATING,
    REST,
    TAKES_TALLY,
    TAP_DROP,
    TAP_EACH,
    TAP_NONE,
    TAP_TALLY,
    WINDOW,
    Head,
    Reader,
    Span,
)

try:
    from handbell.compile.timeline_writer import Leg, Writer, span_bytes
except ImportError:  # on MicroPython the host is this one file
    from timeline_writer import Leg, Writer, span_bytes

BIBS = (7, 8, 0, 0)


def span(kind, duration_ms, **fields):
    s = Span()
    s.kind = kind
    s.duration_ms = duration_ms
    for key, value in fields.items():
        setattr(s, key, value)
    return s


def window(duration_ms=10_000, ask=ASK_OPEN, tap=TAP_EACH, goal=0, bibs=BIBS, **fields):
    return span(WINDOW, duration_ms, ask=ask, tap=tap, goal=goal, bib=list(bibs), name=2, **fields)


def lead_in(duration_ms=5_000):
    return span(LEAD_IN, duration_ms, name=2)


def rest(duration_ms=10_000, **fields):
    return span(REST, duration_ms, **fields)


def whole_class(rest_ms=12_000):
    """One of each: target, tally with its rest, gate, open window, rating."""
    return [
        lead_in(5_000),
        window(10_000, ask=ASK_TARGET, goal=5),
        rest(rest_ms),
        window(10_000, tap=TAP_TALLY, goal=9),
        rest(20_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0]),
        span(GATE, 0),
        window(10_000),
        span(RATING, 30_000, bib=[7, 8, 0, 0]),
    ]


def own(span_, slot, ask=ASK_TARGET, tap=TAP_EACH, every=1, goal=0, name=2):
    """Give the bib at a slot a task of its own."""
    span_.own[slot] = (ask, tap, every, goal, name)
    return span_


def handed(span_, people, names=(2,)):
    """Let a tap hand over in a window: ``people`` take turns at what is called ``names``."""
    span_.flags |= HAND_OVER
    span_.tap = TAP_NONE
    span_.bib = [0] * 4
    n, m = len(people), len(names)
    span_.cycle = [
        Leg(k % n, n, people[k % n], names[_exercise(k, n, m)], n * m) for k in range(n * m)
    ]
    return span_


def _exercise(leg, people, exercises):
    """Return which exercise a leg is: one is left out whenever both begin again together."""
    both = next(n for n in range(people, people * exercises + 1, people) if not n % exercises)
    return (leg + leg // both % (people * exercises // both)) % exercises


def timeline_bytes(spans, grid_s=30, count_s=0, strings=(b"Title", b"Station 1", b"Burpee")):
    at = number = total = 0
    for s in spans:
        s.start_ms = at
        at += s.duration_ms if s.kind != RATING else 0
        if s.kind == WINDOW:
            number += 1
            s.window = number
    head = Head()
    head.spans = len(spans)
    head.windows = number
    head.grid_s = grid_s
    head.count_s = count_s
    head.slot_ms = at
    head.total_ms = total
    tasks = []
    for s in spans:
        mine = [(slot, task) for slot, task in enumerate(s.own) if task]
        s.owns, s.own_at = len(mine), len(tasks)
        tasks.extend(mine)
    legs = []
    for s in spans:
        if s.flags & HAND_OVER:
            s.own_at = len(tasks) + len(legs)
            legs.extend(s.cycle)
    head.own_tasks = len(tasks) + len(legs)
    out = io.BytesIO()
    writer = Writer(out.write, head, list(strings), bool(legs))
    for s in spans:
        writer.span(s)
    for slot, task in tasks:
        writer.own(slot, task)
    for leg in legs:
        writer.leg(leg)
    writer.finish()
    return out.getvalue()


def reader(spans, **head):
    return Reader(io.BytesIO(timeline_bytes(spans, **head)))


class Sink:
    def __init__(self):
        self.bells = []
        self.records = []
        self.ended = None

    def bell(self, cue, due_ms):
        self.bells.append((due_ms, cue))

    def keep(self, record):
        self.records.append(record)

    def recall(self, counting):
        recall = Recall(counting)
        for record in self.records:
            recall.look(record, 0)
        for record in self.records:
            recall.take(record, 0)

    def changed(self):
        pass

    def over(self, cause, class_ms):
        self.ended = (cause, class_ms)


class Box:
    """A runner with a sink, moved on by hand."""

    of = Runner

    def __init__(self, spans, model=None, **head):
        self.sink = Sink()
        self.clock = RunTime(0, 0, model)
        self.runner = self.of(reader(spans, **head), self.clock, self.sink)

    def tap(self, slot, at_ms, held_ms=120):
        self.runner.step(at_ms)
        self.runner.press(slot, at_ms)
        self.runner.step(at_ms + held_ms)
        self.runner.release(slot, at_ms + held_ms)
        self.runner.step(at_ms + held_ms)

    def hold(self, slot, at_ms, held_ms=2_000):
        self.tap(slot, at_ms, held_ms)

    def start(self, slot, at_ms):
        """Hold, let go, and hold again from ``at_ms`` on, which sets the start."""
        self.hold(slot, at_ms - 2_000, 1_600)
        self.hold(slot, at_ms, 1_600)

    def to(self, run_ms):
        self.runner.step(run_ms)
        return self.runner


class LedBox(Box):
    """One that can heed a remote."""

    of = Led


__all__ = [
    "ASK_HOLD", "ASK_OPEN", "ASK_TARGET", "BREAK", "GATE", "LAST_WINDOW", "TAKES_TALLY",
    "TAP_DROP", "TAP_EACH", "TAP_NONE", "span_bytes",
]  # fmt: skip
