"""A class of many simulated hours across tick wraps: no drift, no heap loss, no tap lost.

    python tests/device/soak.py --hours 24

Prints what it measured; exits 1 if a bound is broken. Not part of the default suite.
"""

import argparse
import struct
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "core" / "both")]

from made import lead_in, rest, window
from rig import Rig, of_kind, reps, timeline

from handbell_core import journal

WINDOW_MS = 240_000
REST_MS = 60_000


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24)
    hours = parser.parse_args().hours
    rounds = int(hours * 3_600_000 / (WINDOW_MS + REST_MS))

    def spans():
        out = [lead_in(5_000)]
        for _ in range(rounds):
            out += [window(WINDOW_MS), rest(REST_MS)]
        return out

    data = timeline(spans)
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, Rig(Path(folder)) as rig:
        rig.send([data])
        heap_before = rig.ask("status", heap=1)["heap"]
        start = rig.arm([data])
        worst_us = 0
        for n in range(rounds):
            opens = start + 5_000_000 + n * (WINDOW_MS + REST_MS) * 1000
            for tap in range(3):
                rig.box.press(0, opens + 10_000_000 + tap * 20_000_000)
            rig.world.run_to(opens + 1_000_000)
            bells = rig.box.sound.bells()
            worst_us = max(worst_us, min(abs(bell - opens) for bell in bells[-4:]))
        rig.world.run_to(start + (rounds * (WINDOW_MS + REST_MS) + 100_000) * 1000)
        heap_after = rig.ask("status", heap=1)["heap"]
        (run,) = rig.runs()
        counts = reps(run)
        missing = sum(3 - counts[7, n + 1] for n in range(rounds))
        late = struct.unpack("<BBHII", of_kind(run, journal.END)[0][4])[2]
    print(f"simulated hours          {rounds * (WINDOW_MS + REST_MS) / 3_600_000:.1f}")
    print(f"tick wraps crossed       {rounds * (WINDOW_MS + REST_MS) * 1000 >> 30}")
    print(f"worst bell against due   {worst_us} us")
    print(f"taps missing             {missing} of {3 * rounds}")
    print(f"late cues                {late}")
    print(f"heap before, after       {heap_before}, {heap_after} bytes (64-bit words)")
    print(f"real seconds             {time.monotonic() - began:.0f}")
    return 0 if worst_us < 2_000 and not missing and not late else 1


if __name__ == "__main__":
    sys.exit(main())
