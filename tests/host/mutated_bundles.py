"""Bundles from strangers: mutated at random in every layer, then taken in by the command itself.

    .venv/bin/python tests/host/mutated_bundles.py --count 50000 --seed 1 --minutes 60

Each is refused in plain words and leaves store and folder as they were, or is taken in; then every
command that reads runs on the store, by its own sentences or none. Children do the work, so that
the memory of each can be told.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import json
import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path
from unittest import mock

if __name__ == "__main__":
    root = Path(__file__).parents[2]
    sys.path[:0] = [str(root / p) for p in ("tests/host", "tests", "host", "firmware")]

import mutations_of_bundles as mutations

from handbell.cli import unexpected
from handbell.cli.main import main

IN_A_CHILD = 500
MEMORY_MOST_MB = 300
SURE = (  # what must succeed on a store that took a bundle in
    "report CLASS --json",
    "report --group --json",
    "report --list",
    "roster",
    "amend CLASS",
    "class CLASS",
    "class --said",
    "unread",
    "store check",
    "export OUT/tables",
    "export OUT/again.zip --as bundle --names",
    "export OUT/plain.zip --as bundle",
)
MAY = ("history Uma --json", "advise CLASS --json")  # a person or a plan may not be there
LAST = ("import OUT/again.zip", "class CLASS --delete --yes")


class Lab:
    """A folder with a sound bundle, and a store that it is taken into again and again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        with contextlib.redirect_stdout(io.StringIO()):
            self.sound = mutations.sound_parts(folder / "from")
        self.others = mutations.empty_and_filled(folder)
        self.place = folder / "here"
        self.refused: Counter[str] = Counter()
        self.counts: Counter[str] = Counter()
        self.faults: list[str] = []
        self.largest_growth = 0

    def attack(self, dice: random.Random, name: str) -> None:
        """Mutate a bundle once, take it in and look at what came of it."""
        shutil.rmtree(self.place, ignore_errors=True)
        self.place.mkdir()
        store = self.place / "store.sqlite"
        shutil.copy(dice.choice(self.others), store)
        path = self.folder / "strange.zip"
        what = mutations.write(dice, self.sound, path)
        before = state(store), sorted(self.place.iterdir())
        code, said = self.do(["import", str(path)], store)
        if code:
            self.counts["refused"] += 1
            self.refused[" ".join(said.split())[-160:-60]] += 1
            if (state(store), sorted(self.place.iterdir())) != before:
                self.faults.append(f"{name}, {what}: refused, and something changed")
            wrong = code != 1
        else:
            self.counts["taken"] += 1
            grown = store.stat().st_size - self.others[0].stat().st_size
            self.largest_growth = max(self.largest_growth, grown)
            wrong = False
            self.read(store, f"{name}, {what}")
        if wrong:
            self.faults.append(f"{name}, {what}: exit code {code}")
        if self.own:
            self.faults.append(f"{name}, {what}: {self.own[0]}")
            self.own.clear()

    def read(self, store: Path, what: str) -> None:
        """Run every command that reads, and note those that fail."""
        with contextlib.closing(sqlite3.connect(store)) as conn:
            (number,) = conn.execute("select max(id) from classes").fetchone()
        for words in (*SURE, *MAY, *LAST):
            if number is None and ("CLASS" in words or "OUT" in words):
                continue  # logs of boxes that were never started
            full = words.replace("OUT", str(self.place / "out")).replace("CLASS", str(number))
            code, said = self.do(full.split(), store)
            if code and words not in MAY:
                self.faults.append(f"{what}: {words}: {' '.join(said.split())[:300]}")

    own: list[str] = []

    def do(self, words: list[str], store: Path) -> tuple[int, str]:
        """Run a command; return its exit code and all that it printed."""
        out, told = io.StringIO(), unexpected.told

        def noted(error: Exception, debug: bool):
            self.own.append(
                f"{words[:2]}: {error!r} {unexpected._places(error.__traceback__)[-3:]}"
            )
            return told(error, debug)

        with (
            mock.patch.object(unexpected, "told", noted),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(out),
        ):
            code = main([*words, "--store", str(store)])
        text = out.getvalue()
        if "Traceback" in text or any(sign in text for sign in "\x1b\x07\x00"):
            self.own.append(f"{words[:2]}: raw signs or a traceback")
        return code, text


def state(store: Path) -> str:
    """A digest of every row of a store."""
    with contextlib.closing(sqlite3.connect(store)) as conn:
        return hashlib.sha256("\n".join(conn.iterdump()).encode()).hexdigest()


def attacks(count: int, seed: int) -> dict[str, object]:
    """Make so many mutations; return what came of them and the most memory that it took."""
    with (
        tempfile.TemporaryDirectory() as folder,
        mock.patch.dict(
            os.environ, {"HANDBELL_DATA": str(Path(folder) / "data"), "HANDBELL_STORE": ""}
        ),
    ):
        lab = Lab(Path(folder))
        dice = random.Random(seed)
        for n in range(count):
            lab.attack(dice, f"{n} of seed {seed}")
        return {
            **{name: lab.counts[name] for name in ("refused", "taken")},
            "faults": lab.faults,
            "why": lab.refused,
            "growth_kb": lab.largest_growth // 1024,
            "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        }


def run(count: int, seed: int, minutes: float) -> int:
    """Let children make them, one after another; print the figures."""
    until_s = time.monotonic() + 60 * minutes
    all_, memory_mb, growth_kb, faults = Counter(), 0, 0, []
    for first in range(0, count, IN_A_CHILD):
        if time.monotonic() > until_s:
            break
        words = ["--child", str(min(IN_A_CHILD, count - first)), "--seed", str(seed * 1000 + first)]
        done = subprocess.run(
            [sys.executable, __file__, *words], stdout=subprocess.PIPE, text=True, check=False
        )
        if done.returncode:
            faults.append(f"the child of seed {seed * 1000 + first} ended by {done.returncode}")
            continue
        found = json.loads(done.stdout)
        all_.update({name: found[name] for name in ("refused", "taken")})
        memory_mb = max(memory_mb, found["memory_mb"])
        growth_kb = max(growth_kb, found["growth_kb"])
        faults += found["faults"]
        for fault in found["faults"]:
            sys.stdout.write(f"{fault}\n")
        sys.stdout.write(f"{dict(all_)}, {memory_mb} MB, {len(faults)} faults\n")
        sys.stdout.flush()
    if memory_mb > MEMORY_MOST_MB:
        faults.append(f"it took {memory_mb} MB")
    sys.stdout.write(
        f"{all_['refused'] + all_['taken']:,} bundles: {all_['refused']:,} refused, "
        f"{all_['taken']:,} taken in; {memory_mb} MB at most, a store grew by {growth_kb} KB at "
        f"most; {len(faults)} faults\n"
    )
    return bool(faults)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=50_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--child", type=int, default=0)
    args = parser.parse_args()
    if args.child:
        warnings.simplefilter("ignore")  # of names that are in a file twice
        sys.stdout.write(json.dumps(attacks(args.child, args.seed)))
        sys.exit(0)
    sys.exit(run(args.count, args.seed, args.minutes))
