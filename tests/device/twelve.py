"""A class of twelve boxes under a remote, by the commands a coach types, counted apart.

    .venv/bin/python tests/device/twelve.py [--boxes 12] [--folder FOLDER]

It is armed and paused in a window while people go on tapping. One box loses its power and comes back
by the next word, one misses the pause and catches up; the class goes on, leaves a gate by one hold,
goes to the next block and is stopped. Bells of all boxes are compared, and each count with the
presses that were made. Exits with 1 and says what differs.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import os
import sys
import tempfile
from pathlib import Path

if __name__ == "__main__":
    HERE = Path(__file__).parent
    ROOT = HERE.parents[1]
    tests = [HERE, ROOT / "tests", ROOT / "tests/core/both"]
    sys.path[:0] = [str(p) for p in (*tests, ROOT / "host", ROOT / "firmware")]

from remote_hall import Hall, S

from handbell.cli.main import main as handbell
from handbell_core.lead import GO_ON, NEXT, PAUSE, STOP

PLAN = """
title = "Evening"
boxes = {boxes}
lead_in_s = 10
[[block]]
rounds = 2
rest_s = 20
  [[block.exercise]]
  name = "Squat"
  work_s = 30
  tap = "each"
[[block]]
gate = true
rounds = 2
rest_s = 20
  [[block.exercise]]
  name = "Push-up"
  work_s = 30
  tap = "each"
[[block]]
rounds = 1
  [[block.exercise]]
  name = "Sit-up"
  work_s = 30
  tap = "each"
"""
# When each box is pressed, in s from the start, and whether that counts: in a window, and not while
# the class stands.
WINDOW_1 = (15, 17, 19)
STANDING = (27, 29)
WINDOW_1_AGAIN = (66, 68)
WINDOW_2 = (100, 102, 104, 106)
BLOCK_2 = (150, 152)
BLOCK_3 = (175, 177)
COUNTS = {
    ("Squat", 1): len(WINDOW_1) + len(WINDOW_1_AGAIN),
    ("Squat", 2): len(WINDOW_2),
    ("Push-up", 1): len(BLOCK_2),
    ("Sit-up", 1): len(BLOCK_3),
}
CLOCK_US = 3_000  # the bound that arming asks of a box's clock over a class


class Evening:
    """The hall, and what a coach does in it."""

    def __init__(self, folder: Path, boxes: int) -> None:
        self.hall = Hall(folder, boxes)
        self.folder, self.wrong = folder, []
        world = self.hall.world
        os.environ |= {
            "HANDBELL_CLOCK": str(world.clock_path),
            "HANDBELL_DATA": str(folder / "data"),
            "HANDBELL_STORE": str(folder / "store.sqlite"),
        }

    def do(self, *words: str, boxes=None) -> str:
        """Type a command, with these boxes plugged in, and return what it says."""
        plugged = self.hall.world.boxes if boxes is None else boxes
        for box in plugged:
            box.plug_in()
        ports = [word for box in plugged for word in ("--port", box.url)]
        out = io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
            code = handbell([*words, *ports])
        for box in plugged:
            box.unplug()
        if code:
            self.wrong.append(f"handbell {' '.join(words)}: {out.getvalue()}")
        return out.getvalue()

    def play(self) -> None:
        """From sending to collecting."""
        hall, world = self.hall, self.hall.world
        plan = self.folder / "evening.toml"
        plan.write_text(PLAN.format(boxes=len(hall.boxes)), encoding="utf-8")
        named = (f"{n}={box.spec.unique_id.hex()}" for n, box in enumerate(hall.boxes, 1))
        self.do("stations", *named)
        self.do("send", str(plan))
        world.run_for(2 * S)
        before_us = world.now_us()
        self.do("arm", "--in", "60s")
        status = hall.rig.ask("status", self.plugged(hall.boxes[0]))
        hall.boxes[0].unplug()
        self.start_us = status["utc_ms"] * 1000 - world.clock.start_utc_us
        assert before_us < self.start_us
        for at_s in (*WINDOW_1, *STANDING, *WINDOW_1_AGAIN, *WINDOW_2, *BLOCK_2, *BLOCK_3):
            for n, box in enumerate(hall.boxes):
                box.press(0, self.at(at_s) + 7_000 * n)
        cut, deaf = hall.boxes[4 % len(hall.boxes)], hall.boxes[6 % len(hall.boxes)]
        hall.run_to(self.at(19.5))
        hall.deaf = [deaf]
        hall.works(PAUSE, self.at(20))
        hall.run_to(self.at(22))
        cut.cut_power()
        hall.run_to(self.at(30))
        cut.power_up()
        hall.holds(GO_ON, self.at(45))
        hall.run_to(self.at(48))
        hall.deaf = []
        hall.run_to(self.at(128))
        self.expect("stand at the gate", hall.states(), "gate")
        hall.holds(GO_ON, self.at(132))
        hall.holds(NEXT, self.at(155))
        hall.holds(STOP, self.at(180))
        hall.holds(STOP, self.at(184))
        hall.run_to(self.at(200))
        self.expect("are over", hall.states(), "over")
        self.together(64, "from the resumed window on")
        self.do("collect")
        self.counted()

    def plugged(self, box):
        box.plug_in()
        return box

    def at(self, s: float) -> int:
        return self.start_us + round(s * 1e6)

    def expect(self, what: str, states: list[str], state: str) -> None:
        if set(states) != {state}:
            self.wrong.append(f"not all {what}: {states}")

    def together(self, from_s: float, what: str) -> None:
        """Compare when the boxes rang: by their clocks they differ by less than is armed with."""
        rung = self.hall.bells_after(self.at(from_s))
        if len({len(bells) for bells in rung}) != 1:
            self.wrong.append(f"{what}: not as many bells on all boxes: {[len(b) for b in rung]}")
            return
        apart = [max(bells) - min(bells) for bells in zip(*rung, strict=True)]
        print(f"{len(apart)} bells on {len(rung)} boxes {what}: at most {max(apart)} us apart")
        if max(apart) > CLOCK_US:
            self.wrong.append(f"{what}: {max(apart)} us apart")

    def counted(self) -> None:
        """Hold what the report counts against the presses that were made."""
        out = self.do("report", "--json", boxes=())
        (self.folder / "report.json").write_text(out, encoding="utf-8")
        report = json.loads(out)["data"]["report"]
        print(self.do("report", boxes=()))
        found = dict(people(report))
        for bib in range(1, len(self.hall.boxes) + 1):
            for place, count in COUNTS.items():
                told = found.get((bib, *place))
                if told != count:
                    self.wrong.append(f"bib {bib}, {place}: {told} counted, {count} made")
        print(f"{len(self.hall.boxes) * len(COUNTS)} counts held against presses")


def people(report):
    """Yield ((bib, exercise, round), count) of a report."""
    for table in report["exercises"]:
        for person in table["rows"]:
            for n, cell in enumerate(person["cells"], 1):
                yield (person["bib"], table["name"], n), cell["reps"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boxes", type=int, default=12)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        evening = Evening(folder, options.boxes)
        with evening.hall.rig:
            evening.play()
    for line in evening.wrong:
        print("WRONG:", line)
    return 1 if evening.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
