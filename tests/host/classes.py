"""Made-up classes for tests: timelines by the core's writer, journals by the core's own runner."""

import hashlib
import io
import random
import struct
from dataclasses import dataclass, field, replace

from handbell.compile.timeline_writer import Writer
from handbell_core import journal as j
from handbell_core import timeline as t
from handbell_core.clock import ClockModel, RunTime
from handbell_core.runner import NEVER, OVER, Runner

BOX_IDS = [f"e66164084b{n:06x}" for n in range(1, 99)]
START_UTC_MS = 1_790_000_010_000  # an evening in September 2026, on the 30 s grid
LEAD_IN_MS = 10_000
ZERO_MS = 20_000  # of the run's time, at the start
PLAN_TEXT = b'title = "Two blocks"\n'


@dataclass(frozen=True)
class Piece:
    """One exercise of a block, for every round of it; times in seconds."""

    name: str
    work_s: int = 30
    ask: int = t.ASK_OPEN
    tap: int = t.TAP_EACH
    goal: int = 0
    every: int = 1
    rest_s: int = 0


@dataclass(frozen=True)
class Press:
    """A button held from ``at_ms`` for ``held_ms``; both on the run's time, 0 at the start."""

    at_ms: int
    slot: int = 0
    held_ms: int = 80


PIECES = (
    (
        Piece("Rope skips", 30),
        Piece("Ring rows", 30, t.ASK_TARGET, goal=10),
        Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
    ),
    (
        Piece("Shuttle run", 30, t.ASK_TARGET, t.TAP_FINISH, goal=6),
        Piece("Box steps", 30, t.ASK_TARGET, t.TAP_EVERY, goal=20, every=2),
        Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=15),
    ),
)


def plan_digest(text: bytes = PLAN_TEXT) -> bytes:
    """Return the digest that a plan's timelines carry."""
    return hashlib.sha256(text).digest()[:12]


def digest_of(data: bytes) -> str:
    """Return a file's digest in hex."""
    return hashlib.sha256(data).digest()[:12].hex()


def timeline(
    blocks=PIECES,
    bibs=(1, 2),
    station=1,
    rounds=3,
    title="Two blocks",
    who="",
    plan=PLAN_TEXT,
    break_s=30,
    rate=True,
    gate=False,
) -> bytes:
    """Return one box's timeline: lead-in, blocks with breaks (and gates) between, ratings."""
    texts = [title.encode("latin-1"), f"Station {station}".encode()]

    def index(words: str) -> int:
        raw = words.encode("latin-1")
        if not raw:
            return t.NO_TEXT
        if raw not in texts:
            texts.append(raw)
        return texts.index(raw)

    spans: list[t.Span] = []
    now_ms = 0

    def add(kind: int, duration_ms: int, **fields) -> None:
        nonlocal now_ms
        span = t.Span()
        span.kind, span.start_ms, span.duration_ms = kind, now_ms, duration_ms
        span.bib = list(bibs) + [0] * (t.SLOTS - len(bibs))
        span.who = index(who)
        for name, value in fields.items():
            setattr(span, name, value)
        spans.append(span)
        now_ms += duration_ms

    add(t.LEAD_IN, LEAD_IN_MS)
    window = 0
    for b, pieces in enumerate(blocks, 1):
        if b > 1 and break_s:
            add(t.BREAK, break_s * 1000)
        if b > 1 and gate:
            add(t.GATE, 0)
        for r in range(1, rounds + 1):
            for i, piece in enumerate(pieces, 1):
                window += 1
                add(
                    t.WINDOW,
                    piece.work_s * 1000,
                    ask=piece.ask,
                    tap=piece.tap,
                    every=piece.every,
                    goal=piece.goal,
                    block=b,
                    round=r,
                    item=i,
                    window=window,
                    name=index(piece.name),
                )
                if piece.rest_s:
                    tally = t.TAKES_TALLY if piece.tap == t.TAP_TALLY else 0
                    add(t.REST, piece.rest_s * 1000, flags=tally, window=window)
    slot_ms = now_ms
    if rate and any(bibs):
        add(t.RATING, 30_000)
    head = t.Head()
    head.spans, head.windows, head.slot_ms = len(spans), window, slot_ms
    head.total_ms = slot_ms - LEAD_IN_MS
    head.station, head.buttons, head.plan = station, max(1, len(bibs)), plan_digest(plan)
    out = io.BytesIO()
    writer = Writer(out.write, head, texts)
    for span in spans:
        writer.span(span)
    writer.finish()
    return out.getvalue()


@dataclass
class Run:
    """A journal as a box would have kept it, and when each record was made."""

    records: list[bytes] = field(default_factory=list)
    times_ms: list[int] = field(default_factory=list)  # from the start
    now_ms: int = 0
    taps: int = 0

    def bell(self, cue: int, due_ms: int) -> None:
        """Nobody listens."""

    def keep(self, record: bytes) -> None:
        """Keep a record in memory."""
        self.taps += record[0] == j.TAP
        self.records.append(record)
        self.times_ms.append(self.now_ms)

    def changed(self) -> None:
        """Nobody looks."""

    def over(self, cause: int, class_ms: int) -> None:
        """Write the end as a box does."""
        payload = struct.pack("<BBHII", cause, 0, 0, 0, self.taps)
        self.keep(j.record(j.END, 0, 0, class_ms, payload))

    @property
    def journal(self) -> bytes:
        """The journal's bytes."""
        return b"".join(self.records)


def play(
    data: bytes,
    presses=(),
    start_utc_ms: int | None = START_UTC_MS,
    stop_ms: int | None = None,
    never_starts: bool = False,
    boot: int = 1,
) -> Run:
    """Play a timeline with presses and return its run.

    ``start_utc_ms`` None is a box without a clock; ``stop_ms`` ends the run from outside;
    ``never_starts`` is a run that was armed and taken back; ``boot`` is which of the box's starts.
    """
    reader = t.Reader(io.BytesIO(data))
    model = None if start_utc_ms is None else ClockModel((start_utc_ms - 20_000) * 1000, 0)
    clock = RunTime(0, 0, model)
    run = Run()
    run.keep(j.run_record(bytes.fromhex(digest_of(data)), reader.head.station))
    _tell_box(run, model, boot)
    runner = Runner(reader, clock, run)
    runner.arm(ZERO_MS)
    if never_starts:
        runner.stop(1_000, j.BY_HOST)
        return run
    drive(runner, run, presses, stop_ms)
    return run


def play_off(
    data: bytes,
    presses=(),
    off_ms: int = 0,
    on_ms: int = 0,
    lost_ms: int = 2_000,
    start_utc_ms: int = START_UTC_MS,
) -> Run:
    """Play a timeline on a box without power from ``off_ms`` to ``on_ms`` after the start.

    It goes on by its clock part, as a box does; of what it told in the ``lost_ms`` before,
    nothing was on the flash yet.
    """
    whole = play(data, presses, start_utc_ms)
    kept = sum(ms <= off_ms - lost_ms for ms in whole.times_ms)
    run = Run(whole.records[:kept], whole.times_ms[:kept], on_ms)
    told = [j.parse_record(record) for record in run.records]
    run.taps = sum(kind == j.TAP for kind, *_ in told)
    model = ClockModel((start_utc_ms - ZERO_MS) * 1000, 0)
    _tell_box(run, model, 2)
    runner = Runner(t.Reader(io.BytesIO(data)), RunTime(0, 0, model), run)
    now_ms = ZERO_MS + on_ms
    assert runner.rejoin(ZERO_MS, now_ms, max(class_ms for *_, class_ms, _ in told))
    for kind, slot, window, class_ms, payload in told:
        if kind in (j.BACK, j.FORTH, j.CONFIRM) or (
            kind == j.TAP and not payload[6] & j.TAP_OUTSIDE
        ):
            runner.counting.replay(kind, slot, window, class_ms)
    drive(runner, run, [p for p in presses if p.at_ms >= on_ms], None)
    return run


def play_put_in(
    data: bytes,
    presses=(),
    at_ms: int = 0,
    start_utc_ms: int = START_UTC_MS,
    boot: int = 2,
    gate_ms: int | None = None,
) -> Run:
    """Play a timeline on a box that a host put into the class ``at_ms`` after its start.

    That stood at ``gate_ms`` then, or ran.
    """
    run = Run()
    run.keep(j.run_record(bytes.fromhex(digest_of(data)), t.Reader(io.BytesIO(data)).head.station))
    model = ClockModel((start_utc_ms - ZERO_MS) * 1000, 0)
    _tell_box(run, model, boot)
    runner = Runner(t.Reader(io.BytesIO(data)), RunTime(0, 0, model), run)
    if gate_ms is None:
        assert runner.rejoin(ZERO_MS, ZERO_MS + at_ms, at_ms)
    else:
        runner.wait_again(gate_ms, ZERO_MS + at_ms)
    drive(runner, run, [p for p in presses if p.at_ms >= at_ms], None)
    return run


def _tell_box(run: Run, model: ClockModel | None, boot: int) -> None:
    run.keep(j.record(j.BOX, 0, 0, 0, bytes(8) + struct.pack("<HH", 3900, boot)))
    if model is not None:
        run.keep(j.record(j.UTC, 0, 0, 0, struct.pack("<qI", model.utc_us, 400)))


def drive(runner: Runner, run: Run, presses, stop_ms: int | None = None) -> None:
    """Give a runner its presses and the time, to its end or to ``stop_ms``."""
    presses = list(presses)
    edges = sorted(
        [(p.at_ms, 1, p.slot) for p in presses]
        + [(p.at_ms + p.held_ms, 0, p.slot) for p in presses]
    )

    def go_on(to_ms: int) -> None:
        while runner.due_ms <= to_ms:
            run.now_ms = runner.due_ms - ZERO_MS
            runner.step(runner.due_ms)
        run.now_ms = to_ms - ZERO_MS

    for at_ms, down, slot in edges:
        if stop_ms is not None and at_ms >= stop_ms:
            break
        go_on(ZERO_MS + at_ms)
        if runner.state == OVER:
            return
        if down:
            runner.press(slot, ZERO_MS + at_ms)
        else:
            runner.release(slot, ZERO_MS + at_ms)
    if stop_ms is None:
        go_on(NEVER - 1)
    else:
        go_on(ZERO_MS + stop_ms)
        runner.stop(ZERO_MS + stop_ms, j.BY_HAND)


def windows_of(data: bytes) -> list[t.Span]:
    """Return a timeline's window spans."""
    reader = t.Reader(io.BytesIO(data))
    spans = [reader.span(i, t.Span()) for i in range(reader.head.spans)]
    return [s for s in spans if s.kind == t.WINDOW]


def presses_of(rng: random.Random, data: bytes, slot: int, strength: float = 1.0) -> list[Press]:
    """Return the presses of a modelled athlete who slows down from round to round."""
    presses = []
    for span in windows_of(data):
        if not span.bib[slot] or span.tap == t.TAP_NONE:
            continue
        pace_ms = (1_400 + 130 * span.round) / strength
        at = span.start_ms + 600.0
        if span.tap == t.TAP_FINISH:
            at += span.goal * pace_ms * 1.6
            if at < span.end_ms():
                presses.append(Press(round(at), slot))
        elif span.tap == t.TAP_DROP:
            at += (34_000 - 4_000 * span.round) * strength
            if at < span.end_ms():
                presses.append(Press(round(at), slot))
        elif span.tap == t.TAP_TALLY:
            done = int(span.duration_ms / pace_ms)
            at = span.end_ms() + 900.0
            for _ in range(done):
                presses.append(Press(round(at), slot, 60))
                at += 350
            presses.append(Press(round(at + 200), slot, 1_800))
        else:
            reps = 0
            while at < span.end_ms() - 200:
                reps += 1
                if reps % span.every == 0:
                    presses.append(Press(round(at), slot))
                if span.ask == t.ASK_TARGET and reps >= span.goal:
                    break
                at += pace_ms * rng.uniform(0.9, 1.15)
    end_ms = max(s.end_ms() for s in windows_of(data))
    last = max((p.at_ms + p.held_ms for p in presses), default=0)
    at = max(end_ms, last) + 17_000  # past a rest that takes a tally, into the ratings
    return presses + [Press(at + 400 * n, slot) for n in range(rng.randint(4, 8))]


def make_class(boxes=4, bibs_each=2, seed=1, start_utc_ms=START_UTC_MS, blocks=PIECES, rounds=3):
    """Return (box id, timeline, run) for every box of one class of modelled athletes."""
    rng = random.Random(seed)
    made = []
    for n in range(boxes):
        bibs = tuple(range(n * bibs_each + 1, (n + 1) * bibs_each + 1))
        data = timeline(blocks, bibs, n + 1, rounds, who=f"Lane {'ABCDEFGH'[n % 8]}")
        presses: list[Press] = []
        for slot in range(bibs_each):
            presses += presses_of(rng, data, slot, rng.uniform(0.75, 1.2))
        made.append((BOX_IDS[n], data, play(data, presses, start_utc_ms)))
    return made


def shifted(presses: list[Press], by_ms: int) -> list[Press]:
    """Return the presses later by ``by_ms``."""
    return [replace(p, at_ms=p.at_ms + by_ms) for p in presses]


def cut(run: Run, at_ms: int) -> bytes:
    """Return a run's journal as a power cut at ``at_ms`` would leave it, torn in mid-record."""
    kept = sum(ms <= at_ms for ms in run.times_ms)
    return b"".join(run.records[:kept]) + run.records[kept][:11]
