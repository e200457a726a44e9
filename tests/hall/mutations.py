"""Small changes of the firmware, each of which a test has to find.

    python tests/hall/mutations.py
    python tests/hall/mutations.py --only "the present state" --tell

Each is put into a copy of the tree, in which tests/core and the short part of tests/hall then run.
Names those that nothing finds; exits 1 if they are more than four. Takes some minutes.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from mutants import MUTANTS, Mutant

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("firmware", "host", "tests", "docs")
SUITES = ("tests/core", "tests/hall")
MOST_S = 300
MAY_SURVIVE = 4


def main() -> int:
    """Try every change; return 1 if too many survive."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default="", help="words of a change's name")
    parser.add_argument("--tell", action="store_true", help="print which test found it")
    asked = parser.parse_args()
    chosen = [one for one in MUTANTS if asked.only in one.name]
    survivors = []
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        for name in FOLDERS:
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("__pycache__"))
        shutil.copy(ROOT / "pyproject.toml", tree)
        failing = [test for test, _ in run(tree, (), stop=False)]
        if failing:
            print(f"without any change these fail and are left out: {', '.join(failing)}")
        for number, mutant in enumerate(chosen, 1):
            found = try_one(tree, mutant, failing)
            print(f"{number:>3} {'found   ' if found else 'SURVIVES'} {mutant.name}", flush=True)
            if found and asked.tell:
                print(f"      by {found[0][0]}")
            if not found:
                survivors.append(mutant.name)
    print(f"{len(chosen) - len(survivors)} of {len(chosen)} found")
    return 1 if len(survivors) > MAY_SURVIVE else 0


def try_one(tree: Path, mutant: Mutant, failing: list[str]) -> list[tuple[str, str]]:
    """Return the failures with a change put into ``tree``; it is taken out again."""
    path = tree / "firmware" / mutant.file
    whole = path.read_text(encoding="utf-8")
    if whole.count(mutant.old) != 1:
        raise SystemExit(f"{mutant.name}: its old text stands {whole.count(mutant.old)} times")
    path.write_text(whole.replace(mutant.old, mutant.new), encoding="utf-8")
    try:
        return run(tree, failing, stop=True)
    finally:
        path.write_text(whole, encoding="utf-8")


def run(tree: Path, left_out, stop: bool) -> list[tuple[str, str]]:
    """Run the suites in ``tree``; return (test, why) of what fails."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-rf", *SUITES]
    command += ["-x"] if stop else []
    command += [word for test in left_out for word in ("--deselect", test)]
    paths = os.pathsep.join(str(tree / name) for name in ("host", "firmware"))
    env = {**os.environ, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command, cwd=tree, env=env, capture_output=True, text=True, timeout=MOST_S, check=False
        )
    except subprocess.TimeoutExpired:
        return [("the suites", "they don't end")]
    failed = [
        line.split(" - ")[0].split(" ", 1)[1]
        for line in done.stdout.splitlines()
        if line.startswith(("FAILED ", "ERROR "))
    ]
    if done.returncode and not failed:
        failed = ["the suites"]
    return [(test, done.stdout[-500:]) for test in failed]


if __name__ == "__main__":
    sys.exit(main())
