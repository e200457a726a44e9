"""How long commands take to start, beside `mpremote --help`: paired, medians.

python tests/bench/startup.py [PAIRS]
"""

import subprocess
import sys
import time
from pathlib import Path
from statistics import median

BIN = Path(sys.executable).parent
PLAN = Path(__file__).parents[2] / "docs" / "examples" / "three-block.toml"
COMMANDS = {
    "mpremote --help": [BIN / "mpremote", "--help"],
    "handbell --help": [BIN / "handbell", "--help"],
    "handbell check --help": [BIN / "handbell", "check", "--help"],
    "handbell check PLAN": [BIN / "handbell", "check", PLAN],
}


def main() -> None:
    """Print each command's median, and as a share of the first one's in the same round."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    took: dict[str, list[float]] = {name: [] for name in COMMANDS}
    for _ in range(pairs + 1):
        for name, words in COMMANDS.items():
            began = time.perf_counter()
            subprocess.run(words, stdout=subprocess.DEVNULL, check=True)
            took[name].append(time.perf_counter() - began)
    beside = next(iter(took.values()))[1:]  # the first round fills the caches
    for name, times in took.items():
        share = median(mine / other for mine, other in zip(times[1:], beside, strict=True))
        print(f"{name:24} {1000 * median(times[1:]):5.0f} ms  {share:4.2f}")


if __name__ == "__main__":
    main()
