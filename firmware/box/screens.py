"""The screens: what a box shows in each state of a run, and when no run is on.

Seconds left are the largest thing on each. Where they stand says what it is time for, without a
word: on the left of a solid rule there is work to do, on the right of a broken one there is not;
between corners the box waits for somebody. Press marks thicken at once under a bib's number.
"""

from handbell_core import faults
from handbell_core.runner import (
    AGAIN,
    ASKING,
    AT_GATE,
    CLOSING,
    DOOR,
    FAULT,
    HELD,
    LEAVING,
    OVER,
    PLAY,
    READY,
    SET,
    SURE,
    TALLY,
    WAIT,
)
from handbell_core.timeline import (
    ASK_HOLD,
    ASK_NONE,
    ASK_TARGET,
    BOTH_SIDES,
    BREAK,
    CHANGE,
    COOL_DOWN,
    GATE,
    LEAD_IN,
    REST,
    SLOTS,
    TAP_NONE,
    TAP_TALLY,
    WARM_UP,
    WINDOW,
)

from .cells import Cells
from .display import WIDTH
from .font import digits, digits_height, digits_width, fit, text, width
from .layout import (
    LEFT,
    LINES,
    LONG,
    RIGHT,
    SHORT,
    SOLID,
    TWICE,
    as_bytes,
    clock,
    seconds,
)

SIDES_MS = 3_000  # how long "Other side" is shown

_AWAY = {
    LEAD_IN: (b"Starts", b"in", b"", TWICE),
    CHANGE: (b"Change", b"", b"Next in", SHORT),
    REST: (b"Rest", b"", b"Next in", SHORT),
    BREAK: (b"Break", b"", b"Next in", LONG),
}
_GUIDED = {WARM_UP: b"Warm-up", COOL_DOWN: b"Cool-down"}
_CHOICES = (b"Carry on", b"Skip this one", b"Wait after this", b"Stop the class")
_STAY, _ALONE = b"Stay at the gate", b"Go on alone"
_QUESTIONS = {DOOR: (b"Choices?", b"Hold: show them"), SURE: (b"Stop?", b"Hold 5 s: stop")}
_TROUBLES = {
    faults.STORAGE_FULL: (b"Storage full", b"Collect from this box"),
    faults.NO_ROOM: (b"Storage full", b"Collect from this box"),
    faults.BATTERY_LOW: (b"Battery low", b"Charge this box"),
    faults.BATTERY_WARNING: (b"Battery low", b"Charge this box"),
    faults.FLASH_ERROR: (b"Storage does not answer", b"Use another box"),
    faults.TIMELINE_BROKEN: (b"Its plan is damaged", b"Send the plan again"),
    faults.FIRMWARE: (b"Its program stumbled", b"Switch it off and on"),
}
_OTHER_TROUBLE = (b"Something is wrong", b"Plug it into a laptop")


class Facts:
    """What the screens tell besides the run itself; texts are Latin-1 bytes."""

    def __init__(self):
        self.label = b""
        self.station = 0
        self.title = b""
        self.name = b""
        self.next = b""
        self.who = b""
        self.bib = self.then_bib = 0  # whose leg it is, and whose the next one
        self.clock_ok = False
        self.starts_at = b""
        self.battery_mv = 0
        self.battery_low = False
        self.journals = 0
        self.linked = False
        self.fault = 0
        self.totals = []
        self.silent = False
        self.version = b""
        self.loaded = False
        self.on_usb = False
        self.clock_age_s = 0
        self.clock_error_ms = 0
        self.was_cut = False
        self.free_kb = 0
        self.box_id = b""
        self.trouble = b""  # the last error of its program in this start

    def take_leg(self, runner):
        """Take whose leg it is, what it is, and whose the next one, where a tap hands over."""
        span, done = runner.span, runner.counting.legs.done
        if span.people:
            self.bib, self.name = runner.leg_of(span, done)
            self.then_bib = runner.leg_of(span, done + 1)[0]


class Screens(Cells):
    """Draws whole screens onto a display's canvas; each method ends with a screen to send."""

    looks_ahead = True  # the next span's look is drawn before it begins

    def __init__(self, display):
        super().__init__(display.canvas)
        self._display = display

    def show(self, runner, run_ms, facts):
        """Draw the screen of a run at ``run_ms``."""
        self._canvas.fill(0)
        if runner.menu >= 0:
            self._menu(runner, run_ms, facts)
        else:
            _STATES[runner.state](self, runner, run_ms, facts)
        self._display.drawn()

    def rest(self, facts):
        """Draw the screen of a box that rests."""
        self._canvas.fill(0)
        self._resting(facts)
        self._display.drawn()

    def identify(self, facts):
        """Draw the station's number, as large as it goes."""
        self._canvas.fill(0)
        if facts.station:
            number = str(facts.station)
            height = digits_height(number, WIDTH, 50)
            digits(self._canvas, (WIDTH - digits_width(height, number)) // 2, 0, height, number)
            self._centred(55, facts.label)
        else:
            self._big(0, WIDTH, facts.label or b"No station", 25)
        self._display.drawn()

    def health(self, facts):
        """Draw how the box is: its name and program, battery, clock, room."""
        canvas = self._canvas
        canvas.fill(0)
        mv = facts.battery_mv
        power = "USB, %d.%02d V" if facts.on_usb else "Battery %d.%02d V"
        clock = b"Clock not set"
        if facts.clock_ok:
            age_min = facts.clock_age_s // 60
            clock = b"Clock \xb1%d ms, %d min old" % (facts.clock_error_ms, age_min)
        room = "%d KB free, %d to collect" % (facts.free_kb, facts.journals)
        self._pair(
            0, WIDTH, 3, facts.label or as_bytes("Station %d" % facts.station), facts.version
        )
        canvas.fill_rect(0, 14, WIDTH, 1, 1)
        text(canvas, 0, 18, fit(as_bytes(power % (mv // 1000, mv // 10 % 100)), WIDTH))
        text(canvas, 0, 30, fit(clock, WIDTH))
        text(canvas, 0, 42, fit(as_bytes(room), WIDTH))
        text(canvas, 0, 54, fit(facts.trouble or facts.box_id, WIDTH))
        self._display.drawn()

    def trouble(self, facts):
        """Draw what is wrong with a box that can't play, and what helps."""
        self._canvas.fill(0)
        self._trouble(as_bytes("Fault %d" % facts.fault), facts.fault)
        self._pair(0, WIDTH, LINES[1], facts.label, facts.version)
        self._display.drawn()

    def _trouble(self, title, fault):
        canvas = self._canvas
        what, remedy = _TROUBLES.get(fault, _OTHER_TROUBLE)
        text(canvas, 0, 0, title, 2)
        canvas.fill_rect(0, 19, WIDTH // 2 - 4, 2, 1)
        canvas.fill_rect(WIDTH // 2, 22, WIDTH // 2, 2, 1)
        text(canvas, 0, 29, fit(what, WIDTH))
        text(canvas, 0, 41, fit(remedy, WIDTH))

    def stopped(self):
        """Draw that no firmware runs: nothing that is pressed will do anything."""
        self._canvas.fill(0)
        self._centred(14, b"Stopped", 2)
        self._centred(42, b"Switch it off and on")
        self._display.drawn()

    # Spans

    def _play(self, runner, run_ms, facts):
        if runner.kind == WINDOW:
            self._window(runner, run_ms, facts)
        elif runner.kind in _GUIDED:
            self._guided(runner, run_ms, facts)
        else:
            self._away(runner, run_ms, facts)

    def _window(self, runner, run_ms, facts):
        left_s = seconds(runner.left_ms(run_ms))
        counts = runner.counting.now
        slots = [slot for slot in range(SLOTS) if counts[slot].bib]
        at = 80 if left_s > 99 and len(slots) < 3 else 55
        made = slots and all(_made_it(counts[slot]) for slot in slots)
        last = self._time(left_s, 0, at - 5, LEFT)
        self._rule(at - 4, SHORT if made else SOLID, last)
        if runner.span.people:
            self._leg(runner, facts.bib, at, WIDTH - at)
        elif slots:
            self._cells(runner, counts, slots, at, WIDTH - at)
        else:
            text(self._canvas, at, 4, b"Go on", 2)
            text(self._canvas, at, 27, fit(facts.who, WIDTH - at))
            self._presses(runner, at, 37, WIDTH - at)
        phrase = b"" if last else _phrase(runner, run_ms, slots, made)
        then = _next(facts)
        if runner.waiting:
            then = b"Then this box waits"
        elif runner.span.people:
            then = as_bytes("Then bib %d" % facts.then_bib)
        self._lines(at if last else 0, facts.name, phrase, then, facts)

    def _guided(self, runner, run_ms, facts):
        left_s = seconds(runner.left_ms(run_ms))
        at = 84 if left_s > 99 else 55
        last = self._time(left_s, 0, at - 5, LEFT)
        self._rule(at - 4, LONG, last)
        room = WIDTH - at
        text(self._canvas, at, 0, fit(_GUIDED[runner.kind], room))
        if facts.next:
            text(self._canvas, at, 17, b"Next")
            text(self._canvas, at, 28, fit(facts.next, room))
        self._presses(runner, at, 37, room)
        self._big(at if last else 0, WIDTH, facts.name)

    def _away(self, runner, run_ms, facts):
        canvas = self._canvas
        word, word2, small, rule = _AWAY[runner.kind]
        left_s = seconds(runner.left_ms(run_ms))
        scale = 1 if left_s > 99 else 2
        edge = 44 if left_s > 99 else 68
        last = self._time(left_s, edge + 8, WIDTH - edge - 8, RIGHT)
        self._rule(edge, rule, last)
        text(canvas, 0, 0, word, scale)
        text(canvas, 0, 9 * scale, word2, scale)
        back = _taken_back(runner)
        if back:
            text(canvas, 0, 18, back)
        elif facts.next:
            text(canvas, 0, 18, small)
        if not word2:
            text(canvas, 0, 28, fit(facts.who, edge - 6))
        self._presses(runner, 0, 37, edge - 4)
        self._big(0, WIDTH - 40 if last else WIDTH, facts.next or facts.name)

    def _tally(self, runner, run_ms, facts):
        left_s = seconds(runner.left_ms(run_ms))
        counts = runner.counting.before
        slots = [slot for slot in range(SLOTS) if counts[slot].asked]
        last = self._time(left_s, 78, WIDTH - 78, RIGHT)
        self._rule(75, SHORT, last)
        self._cells(runner, counts, slots, 0, 73 if len(slots) > 2 else 70)
        done = all(counts[slot].confirmed for slot in slots)
        how = b"Kept. A tap adds one" if done else b"Tap reps, hold to confirm"
        if not slots:
            how = b""  # who leaves the exercise out has nothing to count
        self._lines(0, how, b"", _next(facts), facts, WIDTH - 40 if last else WIDTH)

    # Waiting for somebody

    def _asks_hold(self, runner):
        """Draw what all do that wait for a hold; False while one was made and is not yet read."""
        self._corners()
        self._presses(runner, 14, 61, WIDTH - 28)
        if runner.owed:
            self._centred(23, b"Wait", 2)
        return not runner.owed

    def _gate(self, runner, run_ms, facts):
        if not self._asks_hold(runner):
            return
        below = _next(facts) or facts.name
        self._centred(0, so_far(runner), 1, WIDTH - 28)
        if runner.heeds:
            how, below = self._who_goes_on(runner, facts, below)
            self._centred(11, how[0], 2)
            self._centred(30, how[1], 2)
        else:
            self._centred(8, b"Hold to", 2)
            self._centred(23, b"go on", 2)
            self._centred(42, _until_mark(runner, run_ms, facts), 1, WIDTH - 28)
        self._centred(51 if runner.heeds else 52, below, 1, WIDTH - 28)

    def _who_goes_on(self, runner, facts, below):
        """Return what is said, in two lines and a small one, while a remote leads."""
        span = runner.span
        if not runner.begun:
            return (b"The coach", b"starts"), facts.title
        if span.kind == GATE:
            return (b"The coach", b"goes on"), below
        if _in_its_midst(runner):
            below = facts.name
            left = clock(seconds(span.end_ms() - runner.gate_class_ms))
            wide = digits_width(18, left)
            digits(self._canvas, (WIDTH - wide) // 2, 30, 18, left)
        return (b"Paused", b""), below

    def _to_start(self, runner, run_ms, facts):
        self._corners()
        word = b"Goes on" if runner.state == LEAVING and runner.begun else b"Starts"
        when = b" at " + facts.starts_at if facts.starts_at else b" in"
        self._centred(2, word + when, 1, WIDTH - 28)
        left = clock(seconds(runner.left_ms(run_ms)))
        by_hand = runner.state != LEAVING and runner.by_hand
        height = digits_height(left, WIDTH - 8, 28 if by_hand else 36)
        digits(self._canvas, (WIDTH - digits_width(height, left)) // 2, 12, height, left)
        below = facts.title
        if runner.state == LEAVING and runner.begun:
            below = facts.name if _in_its_midst(runner) else _next(facts) or facts.title
        elif by_hand:  # of two boxes that hold other plans this tells it before they start
            self._centred(42, b"Hold: other time", 1, WIDTH - 28)
        self._centred(52, below, 1, WIDTH - 28)
        self._presses(runner, 14, 61, WIDTH - 28)

    def _held(self, runner, run_ms, facts):
        self._corners()
        self._centred(9, b"Let go,", 2)
        self._centred(28, b"hold again", 2)
        self._centred(50, facts.title, 1, WIDTH - 28)
        self._presses(runner, 14, 61, WIDTH - 28)

    def _again(self, runner, run_ms, facts):
        if not self._asks_hold(runner):
            return
        alone = runner.clock.model is None  # no mark that others keep, too
        self._centred(2, b"Hold again: alone" if alone else b"Hold again: start", 1, WIDTH - 28)
        left = str(seconds(runner.left_ms(run_ms)))
        digits(self._canvas, (WIDTH - digits_width(36, left)) // 2, 12, 36, left)
        self._centred(52, b"Tap: no start", 1, WIDTH - 28)

    def _menu(self, runner, run_ms, facts):
        canvas = self._canvas
        question = _QUESTIONS.get(runner.menu)
        if question is not None:
            text(canvas, 0, 2, question[0], 2)
            text(canvas, 0, 27, question[1])
            text(canvas, 0, LINES[1], b"Tap: carry on")
        else:
            for row, choice in enumerate(_CHOICES):
                if runner.offers(row):
                    if row == WAIT and runner.state in (LEAVING, AT_GATE):
                        choice = _STAY if runner.state == LEAVING else _ALONE
                    text(canvas, 8, 3 + 12 * row, choice)
            row = 12 * runner.menu
            canvas.rect(0, row, 84, 13, 1)
            canvas.fill_rect(2, row + 2, 3, 9, 1)
            text(canvas, 0, LINES[1], b"Tap: next, hold: choose")
        if runner.state != AT_GATE:
            left = clock(seconds(runner.left_ms(run_ms)))
            height = digits_height(left, 38, 26)
            digits(canvas, WIDTH - digits_width(height, left), 0, height, left)
        self._presses(runner, 90, 46, 38)

    # The end

    def _ask(self, runner, run_ms, facts):
        canvas = self._canvas
        bibs = runner.span.bib
        slots = [slot for slot in range(SLOTS) if bibs[slot]]
        left = as_bytes(str(seconds(runner.left_ms(run_ms))))
        self._pair(0, WIDTH, 0, b"How hard, 0 to 10?", left)
        room = WIDTH // max(1, len(slots))
        height = digits_height("10", room - 6, 27)
        for place, slot in enumerate(slots):
            rating = runner.rating[slot]
            self._column(
                room * place, room, bibs[slot], height, str(rating) if rating >= 0 else "-"
            )
            self._bar(runner.down[slot], room * place + 2, 50, room - 4)
        text(canvas, 0, LINES[1], b"Tap: next, hold: back")

    def _end(self, runner, run_ms, facts):
        canvas = self._canvas
        totals = facts.totals
        self._centred(0, b"Well done" if runner.begun else b"Not started", 2)
        if len(totals) <= 4:
            room = WIDTH // max(1, len(totals))
            heights = [digits_height(str(reps), room - 4, 20) for _, reps in totals]
            for place, (bib, reps) in enumerate(totals):
                self._column(room * place, room, bib, min(heights), str(reps), 21)
            self._centred(LINES[1], b"reps" if totals else facts.title)
            return
        for place, (bib, reps) in enumerate(totals[: 6 if len(totals) <= 6 else 5]):
            line = as_bytes("%d: %d" % (bib, reps))
            text(canvas, place % 2 * 66 + 4, 24 + place // 2 * 14, line)
        if len(totals) > 6:
            text(canvas, 70, 52, as_bytes("and %d more" % (len(totals) - 5)))

    def _fault(self, runner, run_ms, facts):
        self._trouble(b"Class ended", runner.fault)
        self._pair(0, WIDTH, LINES[1], b"Hold: go on", as_bytes("Fault %d" % runner.fault))

    def _resting(self, facts, runner=None):
        canvas = self._canvas
        volts = as_bytes("%d.%d V" % (facts.battery_mv // 1000, facts.battery_mv // 100 % 10))
        label = facts.label or as_bytes("Station %d" % facts.station)
        scale = 2 if width(label, 2) <= 92 else 1
        text(canvas, 0, 3, fit(label, 92, scale), scale)
        canvas.rect(WIDTH - 24, 1, 22, 9, 1)
        canvas.fill_rect(WIDTH - 2, 3, 2, 5, 1)
        canvas.fill_rect(WIDTH - 22, 3, _charge(facts.battery_mv), 5, 1)
        text(canvas, WIDTH - width(volts), 13, volts)
        text(canvas, 0, 27, fit(facts.title if facts.loaded else b"Nothing loaded", WIDTH))
        text(canvas, 0, 39, _readiness(facts))
        text(canvas, 0, 51, fit(_state_of_box(facts), WIDTH))
        if runner is not None:
            self._presses(runner, 0, 61, WIDTH)

    def _ready(self, runner, run_ms, facts):
        self._resting(facts, runner)

    def _lines(self, x, first, phrase, second, facts, end=WIDTH):
        self._pair(x, end, LINES[0], first, phrase)
        note = b""
        if facts.fault:
            note = as_bytes("Fault %d" % facts.fault)
        elif facts.battery_low:
            note = b"Battery low"
        self._pair(x, end, LINES[1], second, note)


def _in_its_midst(runner):
    """Whether the class stands in the midst of the span that is shown."""
    return runner.span.start_ms < runner.gate_class_ms < runner.span.end_ms()


def so_far(runner):
    """Return how far the class is, in the same words on every box."""
    counting = runner.counting
    number = counting.window or counting.before_window
    return as_bytes("%d of %d" % (number, runner.head.windows)) if number else b""


def _until_mark(runner, run_ms, facts):
    """Return how long a hold may still begin for the next mark, and when that is."""
    if not facts.starts_at:
        return b"This box alone"
    return b"%d s to %s" % (runner.for_mark_ms(run_ms) // 1000, facts.starts_at)


def _next(facts):
    return b"Next: " + facts.next if facts.next else b""


def _made_it(count):
    return count.ask == ASK_TARGET and count.made


def _taken_back(runner):
    """Return which bib's tap was just taken back in a rest, in words."""
    counting = runner.counting
    for slot in range(SLOTS):
        if runner.shown[slot] < 0:
            legs = counting.legs_before
            bib = legs.people[legs.last] if legs.people else counting.before[slot].bib
            return as_bytes("%d: -1" % bib)
    return b""


def _phrase(runner, run_ms, slots, made):
    """Return what the numbers beside the seconds mean."""
    span = runner.span
    past_half_ms = span.duration_ms // 2 - runner.left_ms(run_ms)
    if span.flags & BOTH_SIDES and 0 <= past_half_ms < SIDES_MS:
        return b"Other side"
    if span.people:
        back = min(runner.shown) < 0
        return b"leg back" if back else as_bytes("leg %d" % (runner.counting.legs.done + 1))
    if not slots:
        return b""
    if made:
        return b"earned rest"
    counts = [runner.counting.now[slot] for slot in slots]
    first = counts[0]
    goal = first.goal
    for count in counts:
        if (count.ask, count.tap_rule) != (first.ask, first.tap_rule):
            return b""  # the bibs do different things: their cells say what
        if count.goal != goal:
            goal = 0
    if first.tap_rule == TAP_TALLY:
        return as_bytes("count to %d" % goal) if goal else b"keep count"
    if first.ask == ASK_HOLD:
        lost = any(count.drop_ms >= 0 for count in counts)
        return b"held, s" if lost else b"Hold on"
    if first.tap_rule == TAP_NONE:
        return b"" if first.ask == ASK_NONE else b"Go on"
    if first.ask == ASK_TARGET:
        return b"to do"
    return as_bytes("of %d" % goal) if goal else b"so far"


def _charge(battery_mv):
    """Return the columns, of 18, of a lithium cell's charge: empty at 3.3 V, full at 4.1 V."""
    return max(0, min(18, (battery_mv - 3300) * 18 // 800))


def _readiness(facts):
    if not facts.loaded:
        return b"Clock good" if facts.clock_ok else b"Clock not set"
    if not facts.clock_ok:
        return b"No clock: start by hand"
    tenths = facts.clock_error_ms // 100
    if (
        tenths
    ):  # others may be as far off the other way: a whole class started by hand is not in step
        return b"Clock \xb1%d.%d s, hold to start" % (tenths // 10, tenths % 10)
    return b"Clock good, hold to start"


def _state_of_box(facts):
    if facts.fault:
        return _TROUBLES.get(facts.fault, _OTHER_TROUBLE)[0]
    if facts.battery_low:
        return b"Battery low"
    if facts.was_cut:
        return b"Lost power in a class"
    parts = []
    if facts.journals:
        parts.append(as_bytes("%d to collect" % facts.journals))
    if facts.linked:
        parts.append(b"linked")
    if facts.silent:
        parts.append(b"silent")
    return b", ".join(parts)


_STATES = {
    READY: Screens._ready,
    SET: Screens._to_start,
    PLAY: Screens._play,
    TALLY: Screens._tally,
    AT_GATE: Screens._gate,
    LEAVING: Screens._to_start,
    ASKING: Screens._ask,
    OVER: Screens._end,
    CLOSING: Screens._end,
    FAULT: Screens._fault,
    HELD: Screens._held,
    AGAIN: Screens._again,
}
