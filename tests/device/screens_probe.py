"""Runs under MicroPython: brings a real runner to each state and tells what the display is sent.

Prints a line for each thing: ``w`` a transfer to the display in hex, ``box`` where an item of
text or numerals has its pixels, ``out`` pixels beyond the glass, ``scene`` the end of a scene.
The argument names what to tell: plain, longest, parts or faces.
"""

import binascii
import gc
import io
import sys
import time

import framebuf
from timeline_writer import Leg, Writer

from box import cells, display, font, layout, screens
from handbell_core.agreement import RUNS, STANDS, Act
from handbell_core.clock import ClockModel, RunTime
from handbell_core.runner import AT_GATE, NEVER, Runner
from handbell_core.timeline import (
    ASK_HOLD,
    ASK_NONE,
    ASK_OPEN,
    ASK_TARGET,
    BOTH_SIDES,
    BREAK,
    CHANGE,
    COOL_DOWN,
    GATE,
    HAND_OVER,
    LEAD_IN,
    NO_TEXT,
    RATING,
    REST,
    TAKES_TALLY,
    TAP_DROP,
    TAP_EACH,
    TAP_NONE,
    TAP_TALLY,
    WARM_UP,
    WINDOW,
    Head,
    Reader,
    Span,
)

# 18:30:00 UTC on some day, as the instant at which a scene's run time is 0.
BASE_UTC_US = (20_000 * 86_400 + 18 * 3600 + 30 * 60) * 1_000_000


class Bus:
    """An I2C bus that tells what is written; ``broken`` makes nobody answer."""

    broken = False
    loud = True
    sent = 0

    def writeto(self, address, data, stop=True):
        if self.broken:
            raise OSError(19)
        self.sent += 1
        if self.loud:
            print("w", address, binascii.hexlify(data).decode())
        return len(data)

    def free(self):
        pass


class Sink:
    def bell(self, cue, due_ms):
        pass

    def keep(self, record):
        pass

    def recall(self, counting):
        pass

    def changed(self):
        pass

    def over(self, cause, class_ms):
        pass


class Wide:
    """A canvas with a margin, drawn on as if it were the display's: shows what would be cut."""

    W, H, X, Y = 256, 192, 64, 64

    def __init__(self):
        self.pixels = bytearray(self.W * self.H // 8)
        self.fb = framebuf.FrameBuffer(self.pixels, self.W, self.H, framebuf.MONO_VLSB)

    def fill(self, ink):
        self.fb.fill(ink)

    def fill_rect(self, x, y, w, h, ink):
        self.fb.fill_rect(x + self.X, y + self.Y, w, h, ink)

    def rect(self, x, y, w, h, ink):
        self.fb.rect(x + self.X, y + self.Y, w, h, ink)

    def pixel(self, x, y, ink):
        self.fb.pixel(x + self.X, y + self.Y, ink)

    def line(self, x0, y0, x1, y1, ink):
        self.fb.line(x0 + self.X, y0 + self.Y, x1 + self.X, y1 + self.Y, ink)

    def ellipse(self, x, y, rx, ry, ink, full, mask):
        self.fb.ellipse(x + self.X, y + self.Y, rx, ry, ink, full, mask)

    def poly(self, x, y, corners, ink, full):
        self.fb.poly(x + self.X, y + self.Y, corners, ink, full)

    def blit(self, source, x, y, key):
        self.fb.blit(source, x + self.X, y + self.Y, key)

    def bounds(self):
        """Return the first and last column and row with ink, as the display counts them."""
        # Kept as four numbers: lists that grow by the pixel need more of the heap in one piece
        # than a scene late in a probe can be sure of.
        left, right, upper, lower = self.W, -1, self.H, -1
        for page in range(self.H // 8):
            part = memoryview(self.pixels)[page * self.W : (page + 1) * self.W]
            if not any(part):
                continue
            bits = 0
            for x, byte in enumerate(part):
                if byte:
                    bits |= byte
                    left, right = min(left, x), max(right, x)
            rows = [8 * page + bit for bit in range(8) if bits >> bit & 1]
            upper, lower = min(upper, rows[0]), max(lower, rows[-1])
        if lower < 0:
            return None
        return left - self.X, upper - self.Y, right - self.X, lower - self.Y


class Boxes:
    """Stands in for the font's drawing inside the screens: draws, and tells each item's bounds."""

    def __init__(self):
        self.wide = Wide()

    def _tell(self, what, s):
        bounds = self.wide.bounds()
        if bounds:
            print("box", what, *bounds, s)

    def text(self, canvas, x, y, s, scale=1):
        self.wide.fill(0)
        font.text(self.wide, x, y, s, scale)
        self._tell("text", binascii.hexlify(s).decode())
        return font.text(canvas, x, y, s, scale)

    def digits(self, canvas, x, y, height, s):
        self.wide.fill(0)
        font.digits(self.wide, x, y, height, s)
        self._tell(f"digits{height}", s)
        return font.digits(canvas, x, y, height, s)


class Plan:
    """A small timeline: strings, and spans made of keyword fields."""

    def __init__(self, title=b"Harbour loop", buttons=2):
        self.strings = [title, b"Bench"]
        self.spans = []
        self.legs = []
        self.buttons = buttons
        self.at_ms = 0

    def text(self, s):
        if not s:
            return NO_TEXT
        self.strings.append(s)
        return len(self.strings) - 1

    def add(self, kind, seconds, name=b"", next=b"", who=b"", bibs=(), **fields):
        span = Span()
        span.kind = kind
        span.start_ms = self.at_ms
        span.duration_ms = seconds * 1000
        span.name, span.next, span.who = self.text(name), self.text(next), self.text(who)
        for slot, bib in enumerate(bibs):
            span.bib[slot] = bib
        if kind == WINDOW:
            span.window = 1 + sum(s.kind == WINDOW for s in self.spans)
        for field, value in fields.items():
            setattr(span, field, value)
        self.at_ms += span.duration_ms
        self.spans.append(span)
        return self

    def handed(self, people, name):
        """Let a tap hand over in the last window."""
        span = self.spans[-1]
        span.flags |= HAND_OVER
        n = len(people)
        self.legs = [Leg(i, n, bib, self.text(name), n) for i, bib in enumerate(people)]
        return self

    def runner(self, synced=True, of=Runner):
        head = Head()
        head.own_tasks = len(self.legs)
        head.spans = len(self.spans)
        head.windows = sum(s.kind == WINDOW for s in self.spans)
        head.slot_ms = head.total_ms = self.at_ms
        head.buttons = self.buttons
        file = io.BytesIO()
        writer = Writer(file.write, head, self.strings, bool(self.legs))
        for span in self.spans:
            writer.span(span)
        for leg in self.legs:
            writer.leg(leg)
        writer.finish()
        model = ClockModel(BASE_UTC_US, 0) if synced else None
        return of(Reader(file), RunTime(0, 0, model), Sink())


def wall(runner, starts_ms):
    utc_ms = runner.clock.utc_ms(starts_ms)
    if utc_ms < 0:
        return b""
    s = utc_ms // 1000 % 86_400
    return f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}".encode()


HEARS = 9  # in the place of a button: an act is heard


def tap(slot, at_ms):
    return [(at_ms, slot, True), (at_ms + 120, slot, False)]


def hold(slot, at_ms, ms=1600):
    return [(at_ms, slot, True), (at_ms + ms, slot, False)]


class Stage:
    """Plays scenes on one display, as the box's loop would draw them."""

    def __init__(self, bus):
        self.bus = bus
        self.display = display.Display(bus)
        self.screens = screens.Screens(self.display)
        self.facts = self.new_facts()
        self.wide = Wide()

    def new_facts(self):
        facts = screens.Facts()
        facts.label = b"Bench"
        facts.station = 3
        facts.title = b"Harbour loop"
        facts.clock_ok = True
        facts.battery_mv = 3920
        facts.loaded = True
        facts.version = b"0.1.0"
        return facts

    def run(self, plan, until_ms, events=(), start_ms=0, synced=True):
        """Play up to ``until_ms``; ``start_ms`` None leaves the start to the events."""
        gc.collect()  # before what is large is made, or it has no room in one piece
        kind = Runner
        if any(slot == HEARS for _, slot, _ in events):
            from handbell_core.led import Led as kind
        runner = plan.runner(synced, kind)
        if start_ms is not None:
            runner.arm(start_ms)
        for at_ms, slot, down in sorted(events):
            if at_ms > until_ms:
                break
            while runner.due_ms <= at_ms:
                runner.step(runner.due_ms)
            if slot == HEARS:
                self.hear(runner, at_ms, down)
                continue
            (runner.press if down else runner.release)(slot, at_ms)
        while runner.due_ms <= until_ms:
            runner.step(runner.due_ms)
        facts = self.facts
        if runner.begun:
            facts.name = runner.text_of(runner.span.name)
            facts.next = runner.text_of(runner.span.next)
            facts.who = runner.text_of(runner.span.who)
            facts.take_leg(runner)
        starts_ms = runner.starts_ms
        if runner.state == AT_GATE and not runner.heeds:
            starts_ms = runner.mark_ms(until_ms)
        facts.starts_at = wall(runner, starts_ms) if starts_ms != NEVER else b""
        return runner

    def hear(self, runner, at_ms, act):
        """Heed a remote, and hear an act of it: what, and at which time of the class."""
        if not runner.heeds:
            runner.heed()
        if act:
            soon_ms = 10_000 if act[0] == RUNS else 0
            number = runner.agreement.number + 1
            runner.hear(Act(number, act[0], act[1], at_ms + soon_ms), at_ms)

    def scene(self, name, plan, until_ms, events=(), start_ms=0, synced=True):
        runner = self.run(plan, until_ms, events, start_ms, synced)
        self.draw(name, lambda: self.screens.show(runner, until_ms, self.facts))

    def draw(self, name, show):
        gc.collect()
        show()
        while self.display.update():
            pass
        self._cut(name, show)
        print("scene", name)

    def _cut(self, name, show):
        wide = self.wide
        wide.fill(0)
        kept, self.screens._canvas = self.screens._canvas, wide
        boxes = Boxes()
        for module in (layout, cells, screens):
            module.text, module.digits = boxes.text, boxes.digits
        show()
        for module in (layout, cells, screens):
            module.text, module.digits = font.text, font.digits
        self.screens._canvas = kept
        x0, y0, x1, y1 = wide.bounds() or (0, 0, 0, 0)
        if x0 < 0 or y0 < 0 or x1 > 127 or y1 > 63:
            print("out", name, x0, y0, x1, y1)


def work(ask, tap_rule, bibs, seconds=30, goal=0, name=b"Push-up", next=b"Plank", **fields):
    fields.update(ask=ask, tap=tap_rule, goal=goal)
    return Plan(buttons=max(1, len(bibs))).add(WINDOW, seconds, name, next, bibs=bibs, **fields)


def taps(slot, count, first_ms, step_ms=900):
    events = []
    for i in range(count):
        events += tap(slot, first_ms + i * step_ms)
    return events


def rest_after(plan, kind, seconds, next, **fields):
    return plan.add(kind, seconds, b"", next, **fields)


class Gone:
    """A timeline that can't be read any more."""

    def __init__(self, timeline):
        self.head = timeline.head
        self.text = timeline.text

    def span(self, index, into):
        raise OSError(5)


def fails(stage, name, plan):
    """Show a class whose timeline can't be read any more when its first span is over."""
    runner = stage.run(plan, -1)
    runner.timeline = Gone(runner.timeline)
    for ms in range(0, 60_000, 500):
        try:
            runner.step(ms)
        except OSError:
            continue  # it is tried again
    stage.draw(name, lambda: stage.screens.show(runner, 60_000, stage.facts))


def owed(stage, name, plan, at_ms, events=(), start_ms=0):
    """Show a box that was held from ``at_ms`` on and can't read what comes of that yet."""
    runner = stage.run(plan, at_ms, events, start_ms)
    runner.timeline = Gone(runner.timeline)
    runner._after_index = -1  # as after a read that broke off
    for ms in range(at_ms, at_ms + 3_000, 500):
        try:
            runner.press(0, ms) if ms == at_ms else runner.step(ms)
        except OSError:
            continue  # it is tried again
    stage.draw(name, lambda: stage.screens.show(runner, at_ms + 3_000, stage.facts))


def plain(stage):
    """The screens of the manual."""
    lead = Plan().add(LEAD_IN, 10, b"", b"Burpee")
    stage.scene("lead-in", lead, 2_000)
    stage.scene(
        "open",
        work(ASK_OPEN, TAP_EACH, (7, 12), name=b"Burpee", next=b"Push-up"),
        12_400,
        taps(0, 6, 1_000) + taps(1, 8, 1_300) + tap(1, 12_350),
    )
    target = work(ASK_TARGET, TAP_EACH, (7, 12), goal=10)
    stage.scene("target", target, 9_000, taps(0, 3, 1_000) + taps(1, 6, 1_200))
    stage.scene("made", target, 14_000, taps(0, 7, 1_000) + taps(1, 10, 1_200))
    stage.scene(
        "made-all",
        work(ASK_TARGET, TAP_EACH, (7,), goal=10),
        13_000,
        taps(0, 10, 1_000),
    )
    four = work(ASK_TARGET, TAP_EACH, (7, 12, 31, 108), goal=12, name=b"Mountain climber")
    stage.scene(
        "four",
        four,
        11_000,
        taps(0, 3, 1_000) + taps(1, 6, 1_200) + taps(2, 12, 500, 700) + taps(3, 2, 3_000),
    )
    stage.scene(
        "hold",
        work(ASK_HOLD, TAP_DROP, (7, 12), name=b"Plank", next=b"Burpee", goal=30),
        26_000,
        tap(1, 23_100),
    )
    stage.scene("last", target, 26_500, taps(0, 3, 1_000) + taps(1, 6, 1_200))
    stage.scene("back", target, 9_000, taps(0, 3, 1_000) + taps(1, 5, 1_200) + hold(1, 7_000))
    stage.scene(
        "each-side",
        work(ASK_OPEN, TAP_NONE, (), name=b"Side plank", next=b"Burpee", flags=BOTH_SIDES),
        16_000,
    )
    relay = work(ASK_OPEN, TAP_NONE, (), 90, name=b"Relay", next=b"Squat")
    relay.handed((7, 12, 31), b"10 Sled push")
    events = taps(0, 2, 20_000, 20_000)
    pressing = [(51_950, 0, True)]
    stage.scene("relay", relay, 52_000, events + pressing)
    tally = rest_after(
        work(ASK_OPEN, TAP_TALLY, (7, 12), seconds=10, name=b"Burpee"),
        REST,
        30,
        b"Push-up",
        flags=TAKES_TALLY,
    )
    stage.scene("tally", tally, 18_000, taps(0, 4, 11_000, 400) + taps(1, 7, 10_500, 400))
    short = work(ASK_OPEN, TAP_NONE, (), seconds=10, name=b"Burpee")
    stage.scene("break", rest_after(short, BREAK, 60, b"Squat"), 24_000)
    stage.scene(
        "change",
        rest_after(work(ASK_NONE, TAP_NONE, (), 10), CHANGE, 15, b"Knee lifts", who=b"Blue"),
        14_000,
    )
    stage.scene(
        "warm-up",
        Plan().add(WARM_UP, 120, b"Arm circles", b"Lunge and reach"),
        31_000,
    )
    gate = work(ASK_OPEN, TAP_NONE, (), seconds=10).add(GATE, 0, b"", b"Squat")
    stage.scene("gate", gate, 12_000)
    stage.scene("leaving", gate, 17_000, hold(0, 12_000))
    stage.scene("led-start", lead, 5_000, [(0, HEARS, (STANDS, 0))], 30_000)
    stage.scene("led-gate", gate, 12_000, [(0, HEARS, None)])
    paused = work(ASK_TARGET, TAP_EACH, (7, 12), goal=10)
    pause = taps(0, 3, 6_000)
    pause += [(0, HEARS, None), (12_000, HEARS, (STANDS, 12_000))]
    stage.scene("paused", paused, 14_000, pause)
    alone = hold(0, 14_000, 5_300) + hold(0, 19_500) + tap(0, 21_500)
    stage.scene("alone", paused, 22_000, pause + alone)
    pause.append((30_000, HEARS, (RUNS, 12_000)))
    stage.scene("going", paused, 34_000, pause)
    stage.scene("set", lead, 5_000, (), 30_000)
    first = hold(0, 3_000)
    stage.scene("held", lead, 4_590, first, None)
    stage.scene("again", lead, 6_000, first, None)
    stage.scene("starts", lead, 12_000, first + hold(0, 5_000), None)
    door = hold(0, 4_000, 5_300)
    menu = door + hold(0, 9_500) + tap(0, 12_000)
    more = rest_after(work(ASK_TARGET, TAP_EACH, (7, 12), goal=10), REST, 15, b"Plank")
    stage.scene("door", more, 10_000, door)
    stage.scene("menu", more, 13_000, menu)
    wait = menu + tap(0, 12_500) + hold(0, 13_000)
    stage.scene("waits", more, 16_000, wait)
    sure = menu + tap(0, 12_500) + tap(0, 13_000) + hold(0, 13_500)
    stage.scene("sure", more, 16_000, sure)
    back = hold(0, 12_000) + hold(0, 14_000, 5_300) + hold(0, 19_500) + tap(0, 21_500)
    stage.scene("stay", gate, 22_000, back)
    rating = work(ASK_OPEN, TAP_NONE, (), 5).add(RATING, 60, bibs=(7, 12, 31))
    stage.scene("rating", rating, 14_000, taps(0, 7, 6_000, 300) + taps(2, 4, 6_000, 300))
    stage.facts.totals = [(7, 186), (12, 203), (31, 158)]
    stage.scene("end", work(ASK_OPEN, TAP_NONE, (), 5), 6_000)
    stage.facts = stage.new_facts()
    stage.facts.journals = 2
    stage.draw("resting", lambda: stage.screens.rest(stage.facts))
    stage.facts.was_cut, stage.facts.clock_ok = True, False
    stage.draw("cut", lambda: stage.screens.rest(stage.facts))
    stage.facts.was_cut, stage.facts.clock_ok = False, True
    stage.draw("identify", lambda: stage.screens.identify(stage.facts))
    stage.facts.box_id, stage.facts.free_kb = b"e660583883724a32", 1364
    stage.facts.clock_error_ms = 3
    stage.facts.clock_age_s = 754
    stage.draw("health", lambda: stage.screens.health(stage.facts))
    stage.facts.fault = 37
    stage.draw("trouble", lambda: stage.screens.trouble(stage.facts))
    fails(stage, "fault", more)
    stage.draw("stopped", stage.screens.stopped)


# The longest a plan may say: 32 letters, wide and with accents above and below.
LONG = bytes((0xC5, 0xC7, 0x6D, 0x67)) * 2 + b" " + bytes((0xD1, 0xE7, 0x57, 0x6A)) * 5 + b" Wg"
LONG += bytes((0xC5,)) * (32 - len(LONG))
LONG_WORDS = b"WWWWWWW WWWWWWW WWWWWWW WWWWWWWW"
BIBS = (999, 888, 777, 666)


def not_started(stage):
    """A start that was taken back at the box before the class began."""
    runner = stage.run(work(ASK_OPEN, TAP_NONE, (), 5), 0, start_ms=10_000)
    runner.stop(1_000, 5)
    stage.draw("not-started", lambda: stage.screens.show(runner, 1_000, stage.facts))


def longest(stage):
    """Every screen with the longest texts and the widest numbers."""
    stage.bus.loud = False
    facts = stage.facts
    facts.label = facts.title = LONG
    not_started(stage)
    facts.version = b"10.20.30"
    facts.fault = 99
    facts.battery_low = True
    for n in range(5):
        for name in (LONG, LONG_WORDS):
            longest_windows(stage, n, BIBS[:n], name)
    plan = Plan(LONG, 4).add(WINDOW, 5).add(RATING, 60, bibs=BIBS)
    tens = []
    for slot in range(4):
        tens += taps(slot, 10, 6_000 + slot * 10, 300)
    stage.scene("rating", plan, 12_000, tens)
    for count in (0, 1, 2, 3, 4, 5, 6, 7, 12):
        facts.totals = [(999 - i, 1888) for i in range(count)]
        stage.scene(f"end-{count}", Plan().add(WINDOW, 5), 6_000)
    for station, label in ((0, LONG), (188, LONG), (0, b""), (24, b"Station 24")):
        for loaded, clock_ok, fault in ((1, 1, 0), (1, 0, 0), (0, 0, 0), (1, 1, 36), (0, 0, 3)):
            facts.station, facts.label = station, label
            facts.loaded, facts.clock_ok, facts.fault = loaded, clock_ok, fault
            facts.battery_low = bool(loaded and not clock_ok)
            facts.journals, facts.linked, facts.silent = 88, True, True
            facts.clock_error_ms = 12_345 if label == LONG else 99
            tag = f"-{station}-{loaded}-{clock_ok}-{fault}"
            stage.draw("resting" + tag, lambda: stage.screens.rest(facts))
            stage.draw("identify" + tag, lambda: stage.screens.identify(facts))
            stage.draw("trouble" + tag, lambda: stage.screens.trouble(facts))
            facts.box_id, facts.free_kb, facts.clock_age_s = b"dddddddddddddddd", 1364, 9_999_999
            facts.trouble = (
                b"start 188, clock part: OSError: [Errno 110] ETIMEDOUT" if fault else b""
            )
            stage.draw("health" + tag, lambda: stage.screens.health(facts))


def longest_windows(stage, n, bibs, name):
    tag = f"-{n}-{'long' if name is LONG else 'words'}"
    many = {"bibs": bibs, "name": name, "next": name, "who": name}
    for seconds in (95, 600, 5_400):
        # goals and counts of three digits
        at = f"{tag}-{seconds}"
        plans = {
            "target": work(ASK_TARGET, TAP_EACH, seconds=seconds, goal=888, **many),
            "open": work(ASK_OPEN, TAP_EACH, seconds=seconds, goal=0, every=250, **many),
            "goal": work(ASK_OPEN, TAP_EACH, seconds=seconds, goal=999, **many),
            "hold": work(ASK_HOLD, TAP_DROP, seconds=seconds, **many),
            "tally": work(ASK_TARGET, TAP_TALLY, seconds=seconds, goal=888, **many),
            "none": work(ASK_NONE, TAP_NONE, seconds=seconds, flags=BOTH_SIDES, **many),
        }
        early = []
        for slot in range(n):
            early += taps(slot, 1, 2_000 + 10 * slot)
        for kind, plan in plans.items():
            for until_ms in (1_000, 9_000, seconds * 500 + 100, seconds * 1000 - 2_500):
                stage.scene(kind + at + f"-{until_ms}", plan, until_ms, early)
        relay = work(ASK_OPEN, TAP_NONE, (), seconds, 0, name, name, who=name)
        relay.handed((999, 888), name)
        legs = taps(0, 2, 4_000, 4_000)
        for until_ms in (3_000, 9_000, seconds * 1000 - 2_500):
            stage.scene(f"relay{at}-{until_ms}", relay, until_ms, legs)
        stage.scene("relay-back" + at, relay, 12_600, legs + hold(0, 11_000))
        made = work(ASK_TARGET, TAP_EACH, seconds=seconds, goal=1, **many)
        stage.scene("made" + at, made, 9_000, early)
        stage.scene("made-last" + at, made, seconds * 1000 - 2_500, early)
        stage.scene(
            "back" + at, made, 6_500, early + hold(0, 4_500) + hold(n - 1, 4_500) if n else ()
        )
        offered = hold(0, 3_000, 5_200)
        more = work(ASK_TARGET, TAP_EACH, seconds=seconds, goal=1, **many)
        rest_after(more, REST, 15, b"Plank")
        stage.scene("door" + at, more, 9_000, offered)
        stage.scene("menu" + at, more, 11_500, offered + hold(0, 8_500) + tap(0, 11_000))
        for kind, label in (
            (LEAD_IN, "lead-in"),
            (WARM_UP, "warm-up"),
            (COOL_DOWN, "cool-down"),
            (CHANGE, "change"),
            (REST, "rest"),
            (BREAK, "break"),
        ):
            plan = work(ASK_TARGET, TAP_EACH, seconds=10, goal=1, **many)
            plan.add(kind, seconds, name, name, name, flags=0)
            for until_ms in (13_000, 10_000 + seconds * 1000 - 2_500):
                stage.scene(
                    label + at + f"-{until_ms}",
                    plan,
                    until_ms,
                    early + hold(0, until_ms - 1_000, 500),
                )
        plan = work(ASK_OPEN, TAP_TALLY, seconds=10, **many)
        plan.add(REST, seconds, name, name, flags=TAKES_TALLY)
        entered = []
        for slot in range(n):
            entered += taps(slot, 105, 10_100 + slot, 150)
        for until_ms in (12_000, 26_500, 10_000 + seconds * 1000 - 2_500):
            confirmed = hold(0, 26_800) if n else []
            stage.scene("tallying" + at + f"-{until_ms}", plan, until_ms, entered + confirmed)
    gate = work(ASK_OPEN, TAP_NONE, seconds=10, **many).add(GATE, 0, name, name)
    stage.scene("gate" + tag, gate, 12_000, [(11_900, 0, True)])
    for synced in (True, False):
        stage.scene(f"leaving{tag}-{synced}", gate, 15_000, hold(0, 12_000), 0, synced)
        stage.scene(f"set{tag}-{synced}", gate, 5_000, (), 30_000, synced)
        first = hold(0, 1_000)
        stage.scene(f"held{tag}-{synced}", gate, 2_590, first, None, synced)
        stage.scene(f"again{tag}-{synced}", gate, 2_700, first, None, synced)
        stage.scene(f"hand{tag}-{synced}", gate, 5_000, first + hold(0, 3_000), None, synced)
    owed(stage, "again-owed" + tag, gate, 3_000, first, None)
    stage.scene("far" + tag, gate, 5_000, (), 7_200_000)
    owed(stage, "gate-owed" + tag, gate.add(REST, seconds, name, name), 12_000)


def parts(stage):
    """What the display does besides: pieces, repeats, a panel that goes away, memory, work."""
    facts = stage.facts
    shown = stage.display
    bus = stage.bus
    runner = stage.run(work(ASK_OPEN, TAP_EACH, (7, 12)), 1_500)
    stage.screens.show(runner, 1_500, facts)
    while shown.update():
        pass
    print("scene first")
    stage.screens.show(runner, 1_500, facts)
    print("fact again", shown.update())
    stage.screens.show(runner, 2_500, facts)
    while shown.update():
        pass
    print("scene next")
    shown.contrast(40)
    print("scene contrast")
    bus.broken = True
    stage.screens.show(runner, 3_500, facts)
    print("fact gone", shown.update(), shown.present)
    real_ms, now = time.ticks_ms, [time.ticks_ms()]
    display.time = type("Time", (), {"ticks_ms": lambda: now[0], "ticks_diff": time.ticks_diff})
    bus.broken = False
    before = bus.sent
    for _ in range(20):
        now[0] += display.RETRY_MS // 25
        shown.update()
    print("fact tries", bus.sent - before, shown.present)
    now[0] = real_ms() + 2 * display.RETRY_MS
    while shown.update() or not shown._sure:
        pass
    print("scene mended")
    press = work(ASK_OPEN, TAP_EACH, (7, 12))
    stage.scene("up", press, 1_500)
    stage.scene("down", press, 1_500, tap(1, 1_499))
    bus.loud = False
    gc.collect()
    stage.screens.show(runner, 4_500, facts)
    gc.collect()
    free = gc.mem_free()
    count = 0
    while shown.update():
        count += 1
    print("fact pieces", count, free - gc.mem_free())
    gc.collect()
    free = gc.mem_free()
    stage.screens.show(runner, 5_500, facts)
    print("fact drawing", free - gc.mem_free())


def faces(stage):
    """Each character and numeral as rows of pixels, and what ``fit`` makes of a room."""
    wide = Wide()
    for code in range(256):
        wide.fill(0)
        font.text(wide, 0, 0, bytes((code,)))
        print("letter", code, font.width(bytes((code,))), rows(wide, 0, -4, 8, 16))
    for height in range(cells.SMALLEST, 65):
        for numeral in "0123456789":
            wide.fill(0)
            font.digits(wide, 0, 0, height, numeral)
            x0, y0, x1, y1 = wide.bounds()
            across = font.digits_width(height, numeral)
            out = x0 < 0 or y0 < 0 or x1 >= across or y1 >= height
            print("numeral", height, numeral, int(out), rows(wide, 0, 0, across, height))
    for s in (LONG, LONG_WORDS, b"Push-up", b"", b"i"):
        for scale in (1, 2):
            for room in range(12, 260, 3):
                cut = font.fit(s, room, scale)
                print("fit", room, font.width(cut, scale), int(cut == s), font.width(s, scale))


def rows(wide, x, y, w, h):
    """Return a part of a canvas as one hex number a row, the left pixel highest."""
    part = []
    for row in range(y, y + h):
        bits = 0
        for column in range(x, x + w):
            bits = bits << 1 | wide.fb.pixel(column + wide.X, row + wide.Y)
        part.append(f"{bits:x}")
    return ",".join(part)


def main(which):
    stage = Stage(Bus())
    {"plain": plain, "longest": longest, "parts": parts, "faces": faces}[which](stage)


if __name__ == "__main__":
    main(sys.argv[1])
