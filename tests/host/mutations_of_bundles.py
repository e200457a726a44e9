"""Bundles that may be wrong in their list, their logs, timelines and plans, and as ZIP files."""

from __future__ import annotations

import hashlib
import json
import random
import zipfile
from pathlib import Path

import classes
from mutations_of_files import BODIES, TRICKS, zipped
from mutations_of_parts import Parts, a_log, a_plan, a_timeline

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.packed import CHECK, LIST

WILD = (
    *(None, True, False, -1, 0, 1, 2, 17, 999, 65535, 65536, 1 << 31, 1 << 53, 10**18, 1 << 70),
    *(10**30, 1e308, 0.5, -0.0, "", "0", "5", "end", "yes", "foo", "abc", "-5", "9999", "10000"),
    *("reps", "held", "bib", "name", "invalid", "box", "hand", "a" * 24, "0" * 24, "0" * 16),
    *("a" * 300, "x" * 100_000, "\ud800", "\x00", "\x1b[2J", "\u202e\u2066", "é" * 80, "../../x"),
    *("²", "١٢", "Uma", "=1+1", "<b>", [], {}, [1], [[]], {"a": 1}, [None] * 9),
)
COLLECTED_US = 1_790_004_000_000_000


def sound_parts(folder: Path) -> Parts:
    """The parts of a sound bundle: of two boxes, with names, corrections and a date."""
    folder.mkdir()
    url = str(folder / "from.sqlite")
    with open_store(url) as store:
        for box, data, run in classes.make_class(boxes=2, rounds=1):
            store.put_timeline(data)
            store.ingest(run.journal, box, COLLECTED_US)
        store.put_plan(classes.PLAN_TEXT, "Two blocks")
    out = folder / "whole.zip"
    for words in (
        ["bibs", "1", "1=Uma", "2=Otto"],
        ["amend", "1", "--bib", "3", "--invalid", "--why", "test", "--by", "Ada"],
        ["amend", "1", "--bib", "1", "--name", "Ida", "--why", "test", "--by", "Ada"],
        ["amend", "1", "--bib", "2", "--window", "2", "--reps", "4", "--why", "saw it"],
        ["export", str(out), "--as", "bundle", "--names"],
    ):
        assert main([*words, "--store", url]) == 0, words
    with zipfile.ZipFile(out) as file:
        return {name: file.read(name) for name in file.namelist()}


def empty_and_filled(folder: Path) -> list[Path]:
    """Stores for bundles to come to: an empty one, and one that has the class without names."""
    empty, filled = folder / "empty.sqlite", folder / "filled.sqlite"
    for place in (empty, filled):
        with open_store(str(place)) as store:
            if place == filled:
                for box, data, run in classes.make_class(boxes=2, rounds=1):
                    store.put_timeline(data)
                    store.ingest(run.journal, box, COLLECTED_US)
    return [empty, filled, folder / "from" / "from.sqlite"]


def write(dice: random.Random, sound: Parts, path: Path) -> str:
    """Write a bundle that was mutated once or a few times; return what was done."""
    parts, done = dict(sound), []
    told = json.loads(parts[LIST])
    for _ in range(dice.choice((1, 1, 1, 2, 3))):
        change = dice.choice(CHANGES)
        done.append(f"{change.__name__} {change(dice, told, parts)}"[:160])
    if dice.random() < 0.95:
        told["parts"] = {
            name: hashlib.sha256(data).hexdigest()
            for name, data in parts.items()
            if name not in (LIST, CHECK)
        }
    body = json.dumps(told, ensure_ascii=dice.random() < 0.5).encode(errors="surrogatepass")
    if dice.random() < 0.08:
        body, how = dice.choice(BODIES)(dice, body), "body"
        done.append(how)
    parts[LIST], parts[CHECK] = body, hashlib.sha256(body).hexdigest().encode()
    if dice.random() < 0.15:
        trick = dice.choice(TRICKS)
        trick(dice, parts, path)
        done.append(trick.__name__)
    else:
        zipped(parts, path)
    return "; ".join(done)


def _places(value, at=()):
    yield at
    if isinstance(value, dict):
        for key in value:
            yield from _places(value[key], (*at, key))
    elif isinstance(value, list):
        for n, one in enumerate(value):
            yield from _places(one, (*at, n))


def _holder(told, at):
    for key in at[:-1]:
        told = told[key]
    return told


def _value(dice: random.Random, told, parts: Parts) -> str:
    """Put another value in a place of the list, take it out, or put one beside it."""
    at = dice.choice([p for p in _places(told) if p and p[0] != "parts"])
    holder, value = _holder(told, at), dice.choice(WILD)
    if dice.random() < 0.08:
        del holder[at[-1]]
        return f"without {at}"
    if isinstance(holder, dict) and dice.random() < 0.05:
        holder[dice.choice(("persons", "x" * 99, "\x1b", "extra"))] = value
        return f"more in {at}"
    if type(holder[at[-1]]) is int and dice.random() < 0.5:
        value = holder[at[-1]] + dice.choice((-1, 1, 60_000_000, -86_400_000_000))
    holder[at[-1]] = value
    return f"{at} = {value!r}"


def _row(dice: random.Random, told, parts: Parts) -> str:
    """Repeat, drop or mix rows; what is amended or worn becomes something else that may be."""
    rows = [name for name in told if isinstance(told[name], list) and told[name]]
    if not rows:
        return "none"
    table = told[dice.choice(rows)]
    row = dice.choice(table)
    if not isinstance(row, dict):
        return "none"
    how = dice.randrange(5)
    if how == 0:
        table.append(dict(row))
    elif how == 1:
        table.remove(row)
    elif how == 2:
        table += [dict(row) | {"digest": f"{n:024x}"} for n in range(dice.choice((3, 3000)))]
    elif how == 3:
        other = dice.choice(table)
        if isinstance(other, dict) and other:
            key = dice.choice([*other])
            row[key] = other[key]
    else:
        more = {"what": dice.choice(("reps", "held", "bib", "name", "invalid"))}
        more |= {"value": dice.choice(("", "1", "end", "yes", "9999", "65535", "Zoë"))}
        more |= {"window": dice.randrange(8), "slot": dice.randrange(3), "bib": dice.randrange(9)}
        row |= {key: value for key, value in more.items() if key in row}
    return f"rows {how}"


CHANGES = (_value, _value, _value, _row, a_log, a_log, a_timeline, a_timeline, a_plan)
