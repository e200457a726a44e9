"""A remote leads several boxes: whoever has heard the last act is where the others are, and counts.

Everything is drawn by seed: a plan, what the coach does, which telegrams each box hears, presses.
What a log says is counted again here by a rule of its own, press by press.
"""

import io
import random
import struct
from types import SimpleNamespace

import pytest

from box.past import read_past
from handbell_core import journal as j
from handbell_core.acts import gate_after, go_on, next_block
from handbell_core.agreement import NOTHING, RUNS, STANDS, Act, Agreement
from handbell_core.agreement import OVER as OVER_FOR_ALL
from handbell_core.clock import ClockModel
from handbell_core.lead import GO_ON, NEXT, PAUSE, Lead
from handbell_core.runner import ASKING, CLOSING, OVER, READY
from handbell_core.slots import END_MS, REMOTE, Telling
from handbell_core.telegram import unpack
from handbell_core.timeline import Span
from made import (
    GATE,
    RATING,
    TAKES_TALLY,
    TAP_TALLY,
    LedBox,
    lead_in,
    reader,
    rest,
    span,
    timeline_bytes,
    window,
)

SEEDS = 150
KEY = bytes(range(8))
MODEL = ClockModel(1_700_000_010_000_000, 0)
SPOKEN_MS = (0, 150, 400, 1_000, 2_000, 4_000, 7_000, 11_000, 16_000, 22_000, 30_000)


def drawn_spans(rng):
    made = [lead_in(rng.choice((3_000, 8_000)))]
    for block in range(1, 4):
        for _ in range(rng.choice((1, 2, 3))):
            length_ms = rng.choice((6_000, 12_000, 20_000))
            if rng.random() < 0.3:
                made.append(window(length_ms, tap=TAP_TALLY, goal=9, block=block))
                made.append(rest(9_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0]))
            else:
                made.append(window(length_ms, block=block))
                made.append(rest(rng.choice((4_000, 10_000))))
        if rng.random() < 0.5:
            made.append(span(GATE, 0))
    return [*made, window(8_000, block=9), span(RATING, 20_000, bib=[7, 8, 0, 0])]


class Coach:
    """A remote: its acts, and the telegrams that tell them."""

    def __init__(self, timeline, start_ms):
        self.timeline = timeline
        self.state = Agreement()
        self.state.hear(Act(1, RUNS, 0, start_ms))
        self.acts = [(0, Act(1, RUNS, 0, start_ms))]

    def class_ms(self, now_ms):
        self.state.step(now_ms)
        now = self.state.now
        if now.what == NOTHING:
            return 0
        return self.state.class_ms(now_ms, gate_after(self.timeline, now.class_ms))

    def does(self, rng, now_ms):
        class_ms = self.class_ms(now_ms)
        if class_ms >= self.timeline.head.slot_ms:
            return
        choice = rng.choice(("pause", "pause", "go on", "go on", "next"))
        if choice == "pause":
            soon_ms = rng.choice((200, 500))
            runs = self.state.now.what == RUNS
            gate_ms = gate_after(self.timeline, self.state.now.class_ms)
            there_ms = min(class_ms + soon_ms, gate_ms) if runs else class_ms
            self._say(now_ms, STANDS, there_ms, now_ms + soon_ms)
            return
        stands = self.state.now.what == STANDS or class_ms == gate_after(
            self.timeline, self.state.now.class_ms
        )
        onward = None
        if choice == "go on" and stands:
            onward = go_on(self.timeline, class_ms)
        elif choice == "next":
            onward = next_block(self.timeline, class_ms)
        if onward is not None:
            self._say(now_ms, RUNS, onward.class_ms, now_ms + onward.in_ms)

    def _say(self, now_ms, what, class_ms, at_ms):
        act = Act(self.acts[-1][1].number + 1, what, class_ms, at_ms)
        if self.state.hear(act):
            self.acts.append((now_ms, act))

    def telegrams(self):
        """Return (when it ends, act as it is then) of all that are sent."""
        found = []
        for n, (said_ms, act) in enumerate(self.acts):
            until_ms = self.acts[n + 1][0] if n + 1 < len(self.acts) else said_ms + 40_000
            gate_ms = gate_after(self.timeline, act.class_ms)
            for at_ms in SPOKEN_MS:
                if said_ms + at_ms < until_ms:
                    end_ms = said_ms + at_ms + 120
                    found.append((end_ms, act.as_it_is(end_ms, gate_ms)))
        return found


def play(rng, spans, telegrams, hears, until_ms, presses=0.0, long_ms=1_700, cuts=()):
    """Return a box that heard some telegrams while people pressed its buttons."""
    box = LedBox(spans, MODEL)
    box.runner.heed()
    box.sink.keep(j.run_record(bytes(12), 1, True))
    box.sink.keep(j.record(j.HEEDS, 0, 0, 0, KEY + b"\x18"))
    off_until_ms = 0
    events = [(end_ms, "hear", act) for end_ms, act in telegrams if rng.random() < hears]
    at_ms = 0
    while presses and at_ms < until_ms:
        at_ms += int(rng.expovariate(presses) * 1000) + 200
        lasts_ms = rng.choice((80, 150, 300, 300, 1_700, long_ms))
        slot = rng.choice((0, 0, 1))
        events += [(at_ms, "down", slot), (at_ms + lasts_ms, "up", slot)]
        at_ms += lasts_ms
    events += [(at_ms, "cut", rng.choice((300, 2_000, 9_000, 30_000))) for at_ms in cuts]
    for when_ms, what, arg in sorted(events, key=lambda event: (event[0], event[1])):
        if when_ms > until_ms:
            break
        if when_ms < off_until_ms:
            continue
        box.to(when_ms)
        if what == "cut":
            off_until_ms = when_ms + arg
            box = joined(box, spans, off_until_ms, rng.choice((0, 0, 1, 2, 5)))
            continue
        if what == "hear":
            box.runner.hear(arg, when_ms)
        elif what == "down":
            box.runner.press(arg, when_ms)
        else:
            box.runner.release(arg, when_ms)
        box.to(when_ms)
    box.to(until_ms)
    return box


def joined(box, spans, now_ms, lost):
    """Return the box anew, after its power had failed; its last ``lost`` records were not kept."""
    journal = b"".join(box.sink.records[: max(2, len(box.sink.records) - lost)])
    timeline = timeline_bytes(spans)
    storage = SimpleNamespace(
        open_run=lambda name: io.BytesIO(journal),
        open_timeline=lambda digest: io.BytesIO(timeline),
        settings={"start_ms": 0, "start_run": ""},
    )
    past = read_past(storage, "00001.hbj")
    assert past.key == KEY + b"\x18"
    fresh = LedBox(spans, MODEL)
    fresh.sink.records = [journal[at : at + 24] for at in range(0, len(journal), 24)]
    session = SimpleNamespace(
        storage=storage,
        clock=fresh.clock,
        runner=fresh.runner,
        run_ms=lambda: now_ms,
        account=SimpleNamespace(go_on=lambda past, clock: None, recall=fresh.sink.recall),
        dated_by=lambda: None,
        heed=lambda key, number: fresh.runner.heed(number),
    )
    if not past.go_on(session):
        fresh.runner.heed(past.number)
    return fresh


def counted_again(box):
    """Return {(window, slot): taps} by the log: what no later act says was not yet."""
    records = [j.parse_record(record) for record in box.sink.records]
    windows = {s.window: s for s in all_spans(box) if s.window}
    acts = [(n, record[3]) for n, record in enumerate(records) if record[0] == j.ACT]
    taps = {}
    for n, (kind, slot, number, class_ms, payload) in enumerate(records):
        if kind not in (j.TAP, j.BACK, j.FORTH) or not number:
            continue
        if kind == j.TAP and payload[6] & (j.TAP_OUTSIDE | j.TAP_EXTRA):
            continue
        its = windows[number]
        pressed_ms = class_ms
        if kind != j.TAP:
            pressed_ms -= struct.unpack("<H", payload[2:4])[0]
        back_ms = min((c for m, c in acts if m > n), default=1 << 40)
        if its.tap == TAP_TALLY:
            if back_ms < its.end_ms():
                continue
        elif back_ms <= pressed_ms:
            continue
        change = {j.TAP: 1, j.BACK: -1, j.FORTH: 1}[kind]
        taps[number, slot] = taps.get((number, slot), 0) + change
    return taps


def all_spans(box):
    timeline = box.runner.timeline
    return [timeline.span(n, Span()) for n in range(timeline.head.spans)]


def told(box):
    """Return {(window, slot): reps} of the last results that hold."""
    ends = {s.window: s.end_ms() for s in all_spans(box) if s.window}
    found = {}
    for kind, slot, number, class_ms, payload in map(j.parse_record, box.sink.records):
        if kind == j.RESULT:
            found[number, slot] = struct.unpack("<HH", payload[:4])[1]
        elif kind == j.ACT:
            found = {key: reps for key, reps in found.items() if ends[key[0]] <= class_ms}
    return found


def drawn(seed):
    rng = random.Random(seed)
    spans = drawn_spans(rng)
    coach = Coach(reader(spans), 5_000)
    now_ms = 0
    for _ in range(rng.randint(1, 7)):
        now_ms += rng.choice((300, 1_500, 6_000, 15_000, 30_000))
        coach.does(rng, now_ms)
    return rng, spans, coach, now_ms + 41_000


def place(box, now_ms):
    runner = box.runner
    return runner.state, runner.index, runner.class_ms(now_ms)


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_who_heard_the_last_act_is_where_all_are(first):
    together = 0
    for seed in range(first, first + 50):
        rng, spans, coach, until_ms = drawn(seed)
        telegrams = coach.telegrams()
        whole = play(rng, spans, telegrams, 1.0, until_ms)
        if whole.runner.state not in (ASKING, CLOSING, OVER):
            assert whole.runner.class_ms(until_ms) == coach.class_ms(until_ms), seed
        for hears in (0.7, 0.4, 0.25):
            box = play(rng, spans, telegrams, hears, until_ms, presses=0.7)
            if box.runner.agreement.number != whole.runner.agreement.number:
                continue
            if whole.runner.state in (ASKING, CLOSING, OVER) or box.sink.ended:
                continue
            assert place(box, until_ms) == place(whole, until_ms), (seed, hears)
            together += 1
    assert together > 50


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_what_is_counted_is_what_the_log_says(first):
    windows = stepped_back = 0
    for seed in range(first, first + 50):
        rng, spans, coach, until_ms = drawn(seed)
        for hears in (1.0, 0.5, 0.25):
            box = play(rng, spans, coach.telegrams(), hears, until_ms, 1.5, long_ms=5_200)
            again = counted_again(box)
            counting = box.runner.counting
            for counts, number in (
                (counting.now, counting.window),
                (counting.before, counting.before_window),
            ):
                for slot in (0, 1):
                    if number and not box.sink.ended:
                        found = counts[slot].taps, again.get((number, slot), 0)
                        assert found[0] == found[1], (seed, hears, number, slot)
                        windows += 1
            for key, reps in told(box).items():
                if key[0] not in (counting.window, counting.before_window):
                    assert reps == again.get(key, 0), (seed, hears, key)
                    windows += 1
            acts = [r for r in map(j.parse_record, box.sink.records) if r[0] == j.ACT]
            stepped_back += sum(struct.unpack("<HBBi", r[4][:8])[3] > r[3] for r in acts)
    assert windows > 100 and stepped_back > 20


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_who_heard_every_act_in_time_rings_what_all_ring(first):
    for seed in range(first, first + 50):
        rng, spans, coach, until_ms = drawn(seed)
        telegrams = coach.telegrams()
        whole = play(rng, spans, telegrams, 1.0, until_ms)
        first_of = {}
        for end_ms, act in telegrams:
            first_of.setdefault(act.number, (end_ms, act))
        once = play(rng, spans, list(first_of.values()), 1.0, until_ms, presses=0.5)
        answers = (8, 10, 11)
        rung = [bell for bell in once.sink.bells if bell[1] not in answers]
        assert rung == [bell for bell in whole.sink.bells if bell[1] not in answers], seed


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_a_box_that_lost_its_power_is_where_all_are_and_counts_what_its_log_says(first):
    together = windows = 0
    for seed in range(first, first + 50):
        rng, spans, coach, until_ms = drawn(seed)
        telegrams = coach.telegrams()
        whole = play(rng, spans, telegrams, 1.0, until_ms)
        for hears in (1.0, 0.5):
            cuts = [rng.randint(1, until_ms - 31_000) for _ in range(rng.choice((1, 1, 2)))]
            box = play(rng, spans, telegrams, hears, until_ms, 0.7, cuts=cuts)
            if box.sink.ended or whole.runner.state in (ASKING, CLOSING, OVER):
                continue
            if box.runner.agreement.number == whole.runner.agreement.number:
                assert place(box, until_ms) == place(whole, until_ms), (seed, hears, cuts)
                together += 1
            counting = box.runner.counting
            again = counted_again(box)
            for slot in (0, 1):
                if counting.window:
                    found = counting.now[slot].taps, again.get((counting.window, slot), 0)
                    assert found[0] == found[1], (seed, hears, cuts, slot)
                    windows += 1
    assert together > 10 and windows > 5


def led_by_a_remote(rng, spans):
    """Return a remote that somebody worked, the telegrams that it sent, and when it was over."""
    remote = LedBox(spans, MODEL)
    remote.runner.heed()
    remote.runner.arm(5_000)
    lead = Lead(remote.runner)
    lead.begin(0)
    telling = Telling(remote.runner, REMOTE, 1)
    sent, now_ms = [], 0
    does_ms = 1_000
    for _ in range(rng.randint(2, 9)):
        does_ms += rng.choice((300, 1_500, 6_000, 15_000, 30_000))
        tell(remote, telling, sent, now_ms, does_ms)
        now_ms = does_ms
        button = rng.choice((PAUSE, PAUSE, GO_ON, GO_ON, NEXT))
        (lead.press if button == PAUSE else lead.hold)(button, now_ms)
    until_ms = now_ms + 41_000
    tell(remote, telling, sent, now_ms, until_ms)
    return remote, sent, until_ms


def tell(remote, telling, sent, now_ms, until_ms):
    while (slot_ms := telling.slot_ms(now_ms)) < until_ms:
        remote.to(slot_ms)
        sent.append((slot_ms + END_MS, telling.telegram(KEY, slot_ms + END_MS)))
        telling.told(slot_ms)
        now_ms = slot_ms
    remote.to(until_ms)


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_boxes_follow_a_remote_by_its_telegrams(first):
    together = 0
    for seed in range(first, first + 50):
        rng = random.Random(f"remote {seed}")
        spans = drawn_spans(rng)
        remote, sent, until_ms = led_by_a_remote(rng, spans)
        plan = remote.runner.head.plan
        telegrams = [(end_ms, unpack(KEY, plan, data, end_ms)) for end_ms, data in sent]
        assert all(act is not None for _, act in telegrams)
        for hears in (1.0, 0.5, 0.2):
            box = play(rng, spans, telegrams, hears, until_ms, presses=0.7)
            if box.runner.agreement.number != remote.runner.agreement.number:
                continue
            if remote.runner.agreement.next is not None:
                continue  # a start that is put off: some may have begun, and will begin anew
            if remote.runner.state in (ASKING, CLOSING, OVER) or box.sink.ended:
                continue
            assert place(box, until_ms) == place(remote, until_ms), (seed, hears)
            together += 1
    assert together > 50


def stopped(lost):
    """Return a box that was stopped and lost its power and its last records, and is on again."""
    spans = [lead_in(5_000), window(60_000)]
    box = LedBox(spans, MODEL)
    box.runner.heed()
    box.sink.keep(j.run_record(bytes(12), 1, True))
    box.sink.keep(j.record(j.HEEDS, 0, 0, 0, KEY + b"\x18"))
    box.runner.arm(2_000)
    box.to(30_000)
    box.runner.hear(Act(2, OVER_FOR_ALL, 28_450, 30_450), 30_000)
    box.to(31_000)
    kinds = [record[0] for record in box.sink.records]
    return joined(box, spans, 35_000, len(kinds) - 1 - kinds.index(j.ACT) - (0 if lost else 1))


def test_a_class_that_was_stopped_does_not_come_back():
    assert stopped(False).to(40_000).state == READY


def test_an_act_whose_state_was_not_kept_can_be_heard_again():
    again = joined(stopped(True), [lead_in(5_000), window(60_000)], 37_000, 0)
    assert again.runner.agreement.number < 2
