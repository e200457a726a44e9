"""Measure a box on the emulated chip against its budgets; prints one line a figure.

    python tests/emulator/measure.py --image PATH [--frozen] [--rounds 3] [--profile]

All figures are in emulated time. Screen, taps at 4 a second, link traffic and journal writes all
go on at once, and flash takes as long as a real one; one write takes 400 ms, the longest that an erase may take.
"""

from __future__ import annotations

import argparse
import collections
import os
import sys
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(p) for p in (HERE, ROOT / "tests/core/both", ROOT / "host", ROOT / "firmware")]

from emulated_box import FIRMWARE, EmulatedBox, Refused, file_system  # noqa: E402
from emulated_class import (  # noqa: E402
    class_length_ms,
    clock_error_us,
    counted,
    dues,
    press_through,
    taps,
    timeline,
)
from emulated_parts import SLOWEST_ERASE_US  # noqa: E402

# A board of its own, as main.py looks for: the Pico, and a request that tells what only the chip
# knows: its heap, and the tick at which its clock began.
PROBE = """
from boards.pico import *
import gc, time
import box.app, box.keeper, box.loaded, box.requests, box.view
_began = []
_Extender = box.keeper.Extender
def _extender(tick):
    _began.append(tick)
    return _Extender(tick)
box.keeper.Extender = _extender
_methods = {}
def _piece(most):
    least = 0
    while most - least > 512:
        half = (least + most) // 2
        try:
            bytearray(half)
            least = half
        except MemoryError:
            most = half
        gc.collect()
    return least
def _probe(requests, message):
    m = requests._keeper.model
    gc.collect()
    live, free = gc.mem_alloc(), gc.mem_free()
    return {"began": _began[0], "live": live, "free": free, "piece": _piece(free),
            "utc_us": m.utc_us if m else 0, "box_us": m.box_us if m else 0}
def _profile(requests, message):
    names = sorted(_methods)
    i = message["i"]
    if message.get("clear"):
        for r in _methods.values():
            r[0] = r[1] = r[2] = 0
    return {"name": names[i], "r": list(_methods[names[i]])} if i < len(names) else {}
box.requests.TABLE["probe"] = _probe
box.requests.TABLE["profile"] = _profile
"""
PROFILE = """
def _timed(cls, name):
    inner = getattr(cls, name)
    r = _methods[cls.__name__ + "." + name] = [0, 0, 0]
    us, diff = time.ticks_us, time.ticks_diff
    def outer(self, *a):
        t = us()
        try:
            return inner(self, *a)
        finally:
            d = diff(us(), t)
            r[0] += 1
            r[1] += d
            if d > r[2]:
                r[2] = d
    setattr(cls, name, outer)
A = box.app
_Job = A.Job
def _of(name, act):
    r = _methods[name] = [0, 0, 0]
    us, diff = time.ticks_us, time.ticks_diff
    def timed(tick):
        t = us()
        try:
            return act(tick)
        finally:
            d = diff(us(), t)
            r[0] += 1
            r[1] += d
            if d > r[2]:
                r[2] = d
    return timed
def _job(name, cost, due, run):
    return _Job(name, cost, _of(name + ", due", due), _of(name, run))
A.Job = _job
_timed(A.Loop, "turn")
for _n in ("room_us", "cue_in_us", "bell", "keep"):
    _timed(A.Session, _n)
for _n in ("open", "_draw", "_fill", "_lamps"):
    _timed(A.View, _n)
_timed(A.Sound, "arm")
_timed(box.view.Display, "update")
_timed(box.view.Screens, "show")
_timed(A.Link, "send")
_timed(A.Log, "write")
_timed(box.loaded.Runner, "step")
_timed(box.loaded.Runner, "press")
_timed(box.loaded.Runner, "release")
"""


def main() -> int:
    options = parse()
    probe = PROBE + (PROFILE if options.profile else "")
    firmware = None if options.frozen else Path(options.firmware)
    files = file_system(firmware, {"board_local.py": probe.encode()})
    box = EmulatedBox(Path(options.image), files)
    box.screen.history = collections.deque()  # of the whole class, not of its last part
    ready_us = box.until_ready()
    say("ready", f"{ready_us / 1e6:.2f} s after power (budget 3 s)")
    say("live heap at rest", f"{box.request('probe')['live']} bytes")
    digest = box.send(timeline(options.rounds))
    bound_us = box.set_clock()
    start_us = box.arm(digest)
    press_through(box, start_us, options.rounds)
    if options.profile:
        box.run_to(start_us - 1_500_000)
        box.request("profile", i=0, clear=True)
    probed = play(box, start_us, options.rounds)
    ahead_us = clock_error_us(probed["utc_us"], probed["box_us"], probed["began"])
    say("live heap in class", f"{probed['live']} bytes of {probed['live'] + probed['free']}")
    say("largest free piece", f"{probed['piece']} bytes (budget 40 KB)")
    say("clock set", f"{ahead_us} us off, bound {bound_us} us")
    if options.profile:
        show_profile(box)
    else:
        figures(box, start_us - ahead_us, options.rounds)
    if options.picture:
        box.screen.png(Path(options.picture))
    return 0


def parse() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--image", default=os.environ.get("HANDBELL_IMAGE"))
    parser.add_argument("--firmware", default=str(FIRMWARE))
    parser.add_argument(
        "--frozen", action="store_true", help="the firmware in the image, none as files"
    )
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--profile", action="store_true", help="time the loop's methods instead")
    parser.add_argument("--picture", help="write the last screen as a PNG")
    options = parser.parse_args()
    if not options.image:
        parser.error("--image or HANDBELL_IMAGE must name a MicroPython image for the Pico")
    return options


def say(what: str, value: str) -> None:
    print(f"{what:32} {value}", flush=True)


def play(box: EmulatedBox, start_us: float, rounds: int) -> dict:
    """Run the class with a status request every half second; probe once in the last rest."""
    end_us = start_us + class_length_ms(rounds) * 1000 + 2_500_000
    quiet_us = start_us + class_length_ms(rounds) * 1000 - 3_500_000
    slow_us = start_us + 5_500_000
    probed: dict = {}
    while box.now_us < end_us:
        if box.now_us >= slow_us:
            box.flash.stalls_us = [SLOWEST_ERASE_US]
            slow_us = float("inf")
        box.run_to(box.now_us + 500_000)
        if not probed and box.now_us > quiet_us:
            probed = box.request("probe")
        else:
            box.request("status")
    return probed


def figures(box: EmulatedBox, start_us: float, rounds: int) -> None:
    """Print lateness, taps and erases; ``start_us`` is the class start by the box's own clock."""
    due = dues(rounds)
    opening = [start_us + d.class_ms * 1000 for d in due if d.opens]
    late("bell onset", [first(onsets(box), start_us + d.class_ms * 1000) for d in due])
    late("light", [first([c.world_us for c in box.strip.light.history], at) for at in opening])
    changes = list(box.screen.history)
    late("screen, first change", [first(changes, at) for at in opening])
    late("screen, whole", [whole(changes, at) for at in opening])
    run = box.journals()[-1]
    pressed = box.buttons[0].pressed_us
    got = taps(run)
    say("presses / taps / counted", f"{len(pressed)} / {len(got)} / {counted(run)}")
    for at in box.flash.stalls():
        inside = [p for p in pressed if at <= p < at + SLOWEST_ERASE_US]
        say("400 ms stall", f"at {(at - start_us) / 1e6:.2f} s, {len(inside)} presses began in it")
    stalls = [(at - 60_000, at + busy + 60_000) for at, _, _, busy in box.flash.ops]
    error = {True: [0.0], False: [0.0]}
    for press in pressed:
        true_ms = (press - start_us) / 1000
        nearest = min((ms for ms, _ in got), key=lambda ms: abs(ms - true_ms), default=0)
        error[any(a <= press <= b for a, b in stalls)].append(abs(nearest - true_ms))
    say("tap time error, no write near", f"max {max(error[False]):.2f} ms (budget 2 ms)")
    say("tap time error, near a write", f"max {max(error[True]):.1f} ms")
    minutes = class_length_ms(rounds) / 60_000
    count = len(box.flash.erases(start_us))
    say("erases a class minute", f"{count / minutes:.1f} ({count} in {minutes:.2f} min)")


def onsets(box: EmulatedBox) -> list[float]:
    return [tone.onset_us for tone in box.sounder.tones()]


def first(moments: list, at_us: float) -> float:
    """Return how long after ``at_us`` the first of ``moments`` came (a ms ahead counts as it)."""
    return min((m - at_us for m in moments if m >= at_us - 1_000), default=float("inf"))


def whole(moments: list, at_us: float) -> float:
    """Return when the burst of changes that begins at ``at_us`` ended."""
    end_us = at_us
    for moment in moments:
        if moment >= at_us and moment - end_us < 60_000:
            end_us = moment
    return end_us - at_us


def late(what: str, values_us: list[float]) -> None:
    values = sorted(values_us)
    p50, p99 = (values[min(len(values) - 1, int(len(values) * p))] for p in (0.5, 0.99))
    line = (
        f"p50 {p50 / 1000:.3f}  p99 {p99 / 1000:.3f}  max {values[-1] / 1000:.3f} ms, {len(values)}"
    )
    say(what, line)


def show_profile(box: EmulatedBox) -> None:
    """Print each timed method: calls, all its time, the longest (with what it calls)."""
    rows = []
    while "name" in (reply := box.request("profile", i=len(rows))):
        rows.append((reply["name"], *reply["r"]))
    for name, calls, total_us, most_us in sorted(rows, key=lambda row: -row[2]):
        mean_us = total_us // calls if calls else 0
        say(
            name,
            f"{calls:6} calls {total_us / 1000:9.1f} ms  mean {mean_us:6} us  max {most_us} us",
        )


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Refused as refused:
        sys.exit(f"the box refused: {refused}")
