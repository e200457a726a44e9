"""A class played again by simpy processes that know nothing of the compiler.

The coach and every athlete are processes. They read the TOML by themselves and follow the manual
(docs/engineers/plan-file.md, docs/engineers/forms.md): the coach calls what happens, athletes walk, keep their own count of turns, and go
to a button when it is theirs. What each station saw must equal what its box was told to play, to
the millisecond. Simulation library: simpy.
"""

import io
import json
import sys
from collections import defaultdict
from fractions import Fraction

import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st
from made_plans import EXAMPLES, IN_MANUAL, plans, toml

from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell_core import timeline as t

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib


def in_full(block):
    """A block in a short form as the manual says it is meant, worked out from its words."""
    form, tasks = block.get("format"), block["exercise"]
    if form == "every-minute":
        minute = block.get("every_s", 60)
        tasks = [{**e, "work_s": e.get("work_s", minute)} for e in tasks]
        tasks = [{**e, "rest_s": minute - e["work_s"]} for e in tasks]
        rounds = block["minutes"] * 60 / (minute * len(tasks))
        whole = {"rest_after_last": True, "change_s": 0}
        return {**block, **whole, "rounds": int(rounds), "exercise": tasks}
    if form == "hand-over":
        window = {"name": block.get("name", "Relay"), "work_s": block["minutes"] * 60}
        return {**block, "hand_over": True, "rounds": 1, "exercise": [window]}
    if form in ("as-many-rounds", "under-a-cap"):
        parts = (
            f"{e['reps']} {e['name']}" if "reps" in e else f"{e['hold_s']} s {e['name']}"
            for e in tasks
        )
        name = block.get("name") or ", ".join(parts)
        window = {"name": name, "work_s": block["minutes"] * 60}
        return {**block, "rounds": 1, "exercise": [window]}
    if form == "ladder":
        reps, step = [block["from"]], block.get("by", 1)
        while reps[-1] != block["to"]:
            reps.append(reps[-1] + (step if block["to"] > block["from"] else -step))
        if block.get("back"):
            reps += reps[:-1][::-1]
        rungs = [
            {**e, "work_s": e.get("work_s") or [max(5, block["rep_s"] * n) for n in reps]}
            for e in tasks
        ]
        return {**block, "rounds": len(reps), "exercise": rungs}
    if form == "intervals":
        return {**block, "exercise": [{**e, "work_s": block["work_s"]} for e in tasks]}
    if form == "relay":
        legs = [{**e, "work_s": block["leg_s"]} for e in tasks]
        rounds = block["legs"] // len(tasks)
        return {**block, "relay": True, "rounds": rounds, "exercise": legs}
    return block


class Gym:
    """The floor: what the coach calls out, and what is seen at each station."""

    def __init__(self, text):
        self.env = simpy.Environment()
        self.plan = tomllib.loads(text, parse_float=Fraction)
        self.plan["block"] = [in_full(block) for block in self.plan["block"]]
        self.groups = self.plan.get("group", [])
        self.rotates = self.plan.get("layout") == "rotation"
        named = len(self.plan.get("station", []))
        self.stations = len(self.groups) or self.plan.get("boxes") or named or 1
        if self.rotates:
            self.stations = len(self.plan["block"][0]["exercise"])
        self.log = []  # (kind, from, to) for all
        self.windows = []  # the exercise at each station, one dict a window
        self.pressing = defaultdict(set)  # (window, station) -> bibs at a button
        self.athletes = [
            Athlete(self, place, n, bib)
            for place, group in enumerate(self.groups)
            for n, bib in enumerate(group["bibs"])
        ]
        self.env.process(self.coach())
        self.env.run()

    def shout(self, what, **more):
        """Everybody hears it, one call after the other."""
        for athlete in self.athletes:
            athlete.ears.put((what, more))

    def wait(self, kind, seconds):
        """Let a stretch pass, noting it; nothing at all for 0 s unless it is a gate."""
        ms = Fraction(seconds) * 1000
        assert ms.denominator == 1
        if ms or kind == "gate":
            began = self.env.now
            yield self.env.timeout(int(ms))
            self.log.append((kind, began, self.env.now))

    def coach(self):
        """Lead the class through the plan, in the words of the manual."""
        plan, blocks = self.plan, self.plan["block"]
        yield from self.wait("lead-in", plan.get("lead_in_s", 10))
        led = [*plan.get("warm_up", []), *plan.get("practice", [])]  # the box knows one of a sort
        for part in led:
            yield from self.wait("warm-up", part["work_s"])
        if blocks[0].get("gate"):
            yield from self.wait("gate", 0)
        elif led:
            yield from self.wait("change", self.change(blocks[0]))
        for n, block in enumerate(blocks):
            yield from self.lead(block)
            if n + 1 < len(blocks):
                yield from self.between(block, blocks[n + 1])
        for part in plan.get("cool_down", []):
            yield from self.wait("cool-down", part["work_s"])

    def change(self, block):
        return block.get("change_s", self.plan.get("change_s", 15 if self.rotates else 0))

    def between(self, block, coming):
        pause = block.get("break_s", self.plan.get("break_s", 0))
        yield from self.wait("break", pause)
        if coming.get("gate"):
            yield from self.wait("gate", 0)
        elif not pause:
            yield from self.wait("change", self.change(coming))

    def rounds(self, block):
        lists = [
            len(e[key])
            for e in block["exercise"]
            for key in ("work_s", "reps", "goal")
            if isinstance(e.get(key), list)
        ]
        return block.get("rounds") or [*lists, 1][0]

    def lead(self, block):
        """One block: a list of things to do, each followed by its pauses."""
        exercises, rounds = block["exercise"], self.rounds(block)
        order = block.get("order")
        steps = range(len(order[0] if order and self.rotates else exercises))
        stays = self.rotates and self.plan.get("move") == "round"
        if stays:
            laps = [list(range(rounds)) for _ in steps]
        else:
            laps = [[r] * len(steps) for r in range(rounds)]
        left = sum(len(lap) for lap in laps)
        legs, missed = 0, [0] * len(self.groups)  # of a relay: how many exercises a group left out
        goes_on = block.get("relay") and self.legs_go_on(block)
        for at, lap in enumerate(laps):
            if order and self.rotates:
                self.shout("go", to=[row[at if stays else 0] for row in order])
            relay = block.get("relay", False)
            if not relay:
                self.shout("lap")
            for n, round_ in enumerate(lap):
                if relay:  # each leg is a lap of its own
                    self.shout("lap")
                left -= 1
                exercise = exercises[0 if self.rotates else n]
                shown = exercises if self.rotates else [exercise] * self.stations
                if order and self.rotates:
                    self.shout("go", to=[row[at if stays else n] for row in order])
                elif order:
                    shown = [exercises[row[n] - 1] for row in order]
                elif goes_on:
                    shown = [exercises[(n + by) % len(exercises)] for by in missed]
                    legs += 1
                    for place, group in enumerate(self.groups):
                        people = len(group["bibs"])
                        if legs % (people * len(exercises)) == 0:  # everybody has done all
                            missed[place] = 0
                        elif legs % people == legs % len(exercises) == 0:  # begin again together
                            missed[place] += 1
                yield from self.window(shown, round_, relay, block.get("hand_over", False))
                ends_lap = n + 1 == len(lap)
                walks = self.rotates and (ends_lap or not stays)
                if walks and not order:
                    self.shout("move")
                rest = exercise.get("rest_s", block.get("rest_s", 0))
                if ends_lap:
                    rest = block.get("round_rest_s", rest)
                if left or block.get("rest_after_last"):
                    yield from self.wait("rest", rest)
                others = len(steps) > 1 and (walks or not self.rotates)
                if left and others:
                    yield from self.wait("change", self.change(block))

    def legs_go_on(self, block):
        """Whether groups leave an exercise out when people and exercises begin again together."""
        rests = [e.get("rest_s", block.get("rest_s", 0)) for e in block["exercise"]]
        works = [e["work_s"] for e in block["exercise"]]
        rounds = self.rounds(block)
        works = [w if isinstance(w, list) else [w] * rounds for w in works]
        as_long = all(w == works[0] for w in works) and len({*rests}) == 1
        return as_long and "order" not in block

    def window(self, shown, round_, relay, all_in_turn):
        self.windows.append([e["name"] for e in shown])
        self.shout("window", number=len(self.windows), relay=relay, all_in_turn=all_in_turn)
        work = shown[0]["work_s"]
        yield from self.wait("window", work[round_] if isinstance(work, list) else work)


class Athlete:
    """Somebody with a bib who listens to the coach."""

    def __init__(self, gym, place, n, bib):
        self.gym, self.place, self.bib = gym, place, bib
        self.group = place
        self.ears = simpy.Store(gym.env)
        buttons = gym.plan.get("buttons", 1)
        mates = len(gym.groups[place]["bibs"])
        self.mine, self.sets = n // buttons, -(-mates // buttons)
        self.leg, self.legs = n, mates
        self.by_laps = gym.plan.get("turns", "window") == "round"
        self.lap_turn, self.turn = -1, 0
        gym.env.process(self.live())

    def live(self):
        gym = self.gym
        while True:
            what, more = yield self.ears.get()
            if what == "lap":  # each begins one turn further on than the one before
                # Where a lap is a station, one who waits is at none.
                self.lap_turn += self.place >= 0 or gym.plan.get("move") != "round"
                self.turn = self.lap_turn
            elif what == "move":
                self.place = (self.place + 1) % gym.stations
            elif what == "go":
                self.place = more["to"][self.group] - 1
            elif self.place >= 0:
                relay = more["relay"]
                mine, of = (self.leg, self.legs) if relay else (self.mine, self.sets)
                if self.turn % of == mine or more["all_in_turn"]:
                    gym.pressing[more["number"], self.place].add(self.bib)
                if not self.by_laps:
                    self.turn += 1


def told(box):
    """What a box was told: its stretches, the names of its windows, who is to tap in each."""
    reader = t.Reader(io.BytesIO(box.data))
    spans = [reader.span(n, t.Span()) for n in range(reader.head.spans)]
    spans = [s for s in spans if s.kind != t.RATING]
    windows = [s for s in spans if s.kind == t.WINDOW]
    stretches = [(t.KINDS[s.kind], s.start_ms, s.end_ms()) for s in spans]
    names = [reader.text(s.name).decode("latin-1") for s in windows]
    return stretches, names, [{bib for bib in s.people or s.bib if bib} for s in windows]


def check_same(text):
    gym = Gym(text)
    built = build(parse_plan(text.encode()))
    assert built.totals.boxes == gym.stations
    for place, box in enumerate(built.timelines):
        stretches, names, asked = told(box)
        assert stretches == gym.log
        drawn = {"Żuraw": "Zuraw"}
        assert names == [drawn.get(w[place], w[place]) for w in gym.windows]
        if gym.groups:
            numbers = range(1, len(names) + 1)
            assert asked == [gym.pressing[number, place] for number in numbers]
    works = [(begin, end) for kind, begin, end in gym.log if kind == "window"]
    cool_down_ms = sum(end - begin for kind, begin, end in gym.log if kind == "cool-down")
    assert built.totals.slot_ms == gym.env.now
    assert built.totals.total_ms == gym.env.now - cool_down_ms - works[0][0]


@pytest.mark.parametrize("path", EXAMPLES.values(), ids=EXAMPLES)
def test_examples(path):
    check_same(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("text", IN_MANUAL)
def test_the_manuals_plans(text):
    check_same(text)


@settings(max_examples=200, deadline=None)
@given(plans())
def test_random_plans(plan):
    check_same(toml(plan))


@st.composite
def relays(draw):
    """A plan of relays, some of which keep their order; what stands before shifts the turns."""
    sizes = draw(st.lists(st.integers(1, 5), min_size=1, max_size=3))
    bibs = iter(range(1, 100))
    plan = {
        "title": "R",
        "buttons": draw(st.integers(1, 2)),
        "change_s": draw(st.integers(0, 1)) * 9,
    }
    plan["never_after"] = []
    plan["group"] = [
        {"name": f"G{n}", "bibs": [next(bibs) for _ in range(size)]} for n, size in enumerate(sizes)
    ]
    plan["block"] = []
    for _ in range(draw(st.integers(1, 3))):
        count, rounds = draw(st.integers(1, 4)), draw(st.integers(1, 6))
        works = [draw(st.sampled_from((20, 30))) for _ in range(rounds)]
        block = {"relay": draw(st.integers(0, 5)) > 0, "rounds": rounds, "rest_s": 10}
        if draw(st.booleans()):
            block["round_rest_s"] = draw(st.sampled_from((0, 15)))
        block["exercise"] = [{"name": f"E{n}", "work_s": works} for n in range(count)]
        odd = draw(st.integers(0, 5))
        if odd == 0:
            block["exercise"][-1]["rest_s"] = 20
        elif odd == 1:
            block["exercise"][-1]["work_s"] = 45
        elif odd == 2:
            numbers = list(range(1, count + 1))
            block["order"] = [draw(st.permutations(numbers)) for _ in sizes]
        plan["block"].append(block)
    names = sorted({e["name"] for block in plan["block"] for e in block["exercise"]})
    if draw(st.integers(0, 3)) == 0:
        plan["never_after"] = [[draw(st.sampled_from(names)) for _ in range(2)]]
    return plan


@settings(max_examples=100, deadline=None)
@given(relays())
def test_random_relays(plan):
    check_same(toml(plan))


@settings(max_examples=60, deadline=None)
@given(plans(), st.randoms(use_true_random=False))
def test_random_orders(plan, rng):
    """The same with an order in every block: any at all, each group once at each station."""
    for block in plan["block"]:
        exercises = block["exercise"]
        numbers = range(1, len(exercises) + 1)
        if plan.get("layout") == "rotation":
            waits = rng.randint(0, 3)
            circle = [*numbers, *[0] * waits]
            rng.shuffle(circle)
            groups = range(len(plan["group"]))
            block["order"] = [[*circle[g:], *circle[:g]] for g in groups]
        elif len({json.dumps([e["work_s"], e.get("rest_s")]) for e in exercises}) == 1:
            lanes = len(plan.get("group", ())) or plan.get("boxes") or 1
            block["order"] = [rng.sample(numbers, len(exercises)) for _ in range(lanes)]
    check_same(toml(plan))
