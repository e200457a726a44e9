"""Checks the firmware against the MicroPython stubs: check_firmware_types.py STUBS_FOLDER.

The stubs give ticks a type of their own, so that nobody subtracts them; ours go through
``handbell_core.ticks``, which takes plain integers, so here ticks are integers.
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]

CONFIG = """
[mypy]
python_version = 3.12
custom_typeshed_dir = {stubs}
mypy_path = {stubs}:firmware
explicit_package_bases = True
follow_imports = silent
check_untyped_defs = True
strict_optional = False
cache_dir = {stubs}/cache

# PIO programs are made of names that only the assembler knows.
[mypy-box.capture,box.infrared,box.emitter]
ignore_errors = True

[mypy-board_local,image_name]
ignore_missing_imports = True
"""


def main(stubs: Path) -> int:
    times = stubs / "time.pyi"
    text = times.read_text(encoding="utf-8")
    times.write_text(re.sub(r"\) -> _Ticks\w+:", ") -> int:", text), encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder) / "mypy.ini"
        config.write_text(CONFIG.format(stubs=stubs.resolve()), encoding="utf-8")
        command = [sys.executable, "-m", "mypy", "--config-file", str(config)]
        firmware = ["firmware/box", "firmware/boards", "firmware/main.py", "firmware/begin.py"]
        firmware.append("image/boot.py")
        done = subprocess.run(
            [*command, *firmware], cwd=ROOT, check=False, capture_output=True, text=True
        )
    # The stubs have faults of their own; ours are those in the firmware.
    ours = [line for line in done.stdout.splitlines() if line.startswith(("firmware", "image"))]
    print("\n".join(ours) or "Firmware types: no issues found")
    if not ours and "Found" not in done.stdout and done.returncode:
        print(done.stdout, done.stderr)
    return 1 if any(": error:" in line for line in ours) or done.returncode > 1 else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
