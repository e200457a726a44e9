"""Write what an emulated box's display showed: at rest, in a window, in a rest, at the end.

python tests/emulator/pictures.py --image PATH [--out docs/img]
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(p) for p in (HERE, ROOT / "tests/core/both", ROOT / "host", ROOT / "firmware")]

from emulated_box import FIRMWARE, EmulatedBox, file_system  # noqa: E402

from handbell_core.timeline import ASK_TARGET  # noqa: E402
from made import lead_in, rest, timeline_bytes, window  # noqa: E402

LEAD_IN_MS, WINDOW_MS, REST_MS = 5_000, 8_000, 5_000
BIBS = (7, 12, 0, 0)
STRINGS = (b"Class", b"Station 1", b"Push-up", b"Plank")
SCALE = 2


def spans() -> list:
    """Return a class of one target window and its rest."""
    asked = window(WINDOW_MS, ask=ASK_TARGET, bibs=BIBS, goal=8, next=3)
    return [lead_in(LEAD_IN_MS), asked, rest(REST_MS, next=3)]


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--image", default=os.environ.get("HANDBELL_IMAGE"))
    parser.add_argument("--firmware", default=str(FIRMWARE))
    parser.add_argument("--out", default=str(ROOT / "docs/img"))
    options = parser.parse_args()
    if not options.image:
        parser.error("--image or HANDBELL_IMAGE must name a MicroPython image for the Pico")
    box = EmulatedBox(Path(options.image), file_system(Path(options.firmware)))
    out = Path(options.out)
    out.mkdir(parents=True, exist_ok=True)

    def take(name: str, at_us: float) -> None:
        box.run_to(at_us)
        box.screen.png(out / f"emulated-{name}.png", scale=SCALE)
        print(f"{name}: {box.now_us / 1e6:.1f} s after power", flush=True)

    box.until_ready()
    box.request("name", station=3, label="By the door")
    digest = box.send(timeline_bytes(spans(), strings=STRINGS))
    box.set_clock()
    take("ready", box.now_us + 4_000_000)  # the station's number has gone by then
    start_us = box.arm(digest, in_s=3)
    opens_us = start_us + LEAD_IN_MS * 1000
    closes_us = opens_us + WINDOW_MS * 1000
    for slot, presses in ((0, 4), (1, 2)):
        for n in range(presses):
            box.buttons[slot].press(opens_us + 600_000 + slot * 150_000 + n * 700_000)
    take("window", opens_us + 3_500_000)
    take("rest", closes_us + 1_500_000)
    take("end", closes_us + REST_MS * 1000 + 1_000_000)
    return 0


if __name__ == "__main__":
    sys.exit(main())
