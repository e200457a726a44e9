"""Bundles whose list says something else than any version writes: refused, or sound in the store."""

from __future__ import annotations

import hashlib
import json
import random
import zipfile

import classes
import pytest
from store_places import import_bundle, new_place

from handbell.base.errors import HandbellError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles import taking_in as bundle_in

WILD = (
    None, True, -1, 0, 1 << 70, 1e308, 0.5, "", "0", "a" * 300, "\ud800", [], {}, [1], "end", "-5",
)  # fmt: skip


def paths(value, at=()):
    yield at
    if isinstance(value, dict):
        for key in value:
            yield from paths(value[key], (*at, key))
    elif isinstance(value, list):
        for n, one in enumerate(value):
            yield from paths(one, (*at, n))


@pytest.fixture(name="parts", scope="module")
def _parts(tmp_path_factory):
    """The parts of a bundle with a name and corrections."""
    folder = tmp_path_factory.mktemp("from")
    url = str(folder / "from.sqlite")
    with open_store(url) as store:
        for box, timeline, run in classes.make_class(boxes=2):
            store.put_timeline(timeline)
            store.ingest(run.journal, box, 1_790_000_000_000_000)
    assert main(["bibs", "1", "1=Uma", "--store", url]) == 0
    amend = ["amend", "1", "--bib", "3", "--invalid", "--why", "test", "--store", url]
    assert main(amend) == 0
    out = folder / "whole.zip"
    assert main(["export", str(out), "--as", "bundle", "--names", "--store", url]) == 0
    with zipfile.ZipFile(out) as file:
        return {name: file.read(name) for name in file.namelist()}


def write(path, parts, told):
    body = json.dumps(told).encode()
    with zipfile.ZipFile(path, "w") as file:
        for name, data in parts.items():
            if name == bundle_in.LIST:
                data = body
            elif name == bundle_in.CHECK:
                data = hashlib.sha256(body).hexdigest().encode()
            file.writestr(name, data)


def test_a_list_changed_at_random_is_refused_or_leaves_a_store_that_reports(
    tmp_path, parts, capsys
):
    dice = random.Random(5)
    sound = json.loads(parts[bundle_in.LIST])
    places = [at for at in paths(sound) if at and at[0] not in ("format", "version", "parts")]
    taken = 0
    for number in range(250):
        told = json.loads(parts[bundle_in.LIST])
        at = dice.choice(places)
        holder = told
        for key in at[:-1]:
            holder = holder[key]
        if dice.random() < 0.1:
            del holder[at[-1]]
        else:
            holder[at[-1]] = dice.choice(WILD)
        path = tmp_path / "changed.zip"
        write(path, parts, told)
        (tmp_path / f"{number}").mkdir()
        url = new_place("sqlite", tmp_path / f"{number}")
        with open_store(url) as store:
            try:
                import_bundle(store, path)
            except HandbellError:
                continue
        taken += 1
        assert main(["report", "1", "--store", url]) == 0, (at, told)
    capsys.readouterr()
    assert taken > 3


def amended(**values):
    """What changes a bundle's amendments so."""

    def change(told):
        for one in told["amendments"]:
            one |= values

    return change


def another_timeline(told):
    """Let the first log be of the timeline of the last one."""
    told["runs"][0]["timeline"] = told["runs"][-1]["timeline"]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (amended(what="reps", value=""), "holds no number"),
        (amended(what="held", value=""), "holds no number"),
        (amended(what="bib", value=""), "holds no number"),
        (amended(what="bib", value="", undone_utc_us=5), "holds no number"),
        (amended(what="bib", value="0"), "holds no number"),
        (amended(what="bib", value="65536"), "holds no number"),
        (amended(what="invalid", value=""), "holds no number"),
        (amended(what="reps", value="5", window=0), "of windows that no log of it has"),
        (amended(what="invalid", window=0), "of windows that no log of it has"),
        (amended(what="name", value="Uma"), "of windows that no log of it has"),
        (amended(what="reps", value="5", slot=3), "of windows that no log of it has"),
        (another_timeline, "is of another timeline than its list says"),
    ],
)
def test_a_list_that_can_t_be_meant_is_refused_with_why(tmp_path, parts, capsys, change, why):
    told = json.loads(parts[bundle_in.LIST])
    change(told)
    write(tmp_path / "changed.zip", parts, told)
    url = str(tmp_path / "to.sqlite")
    assert main(["import", str(tmp_path / "changed.zip"), "--store", url]) == 1
    out = capsys.readouterr()
    assert why in " ".join(out.err.split()) and "Traceback" not in out.err


MEANT = (
    amended(what="reps", value="999999999", was=""),
    amended(what="held", value="end"),
    amended(what="bib", value="65535"),
    amended(what="name", value="", window=0, slot=0, bib=77),
    amended(at_utc_us=0, who="\x00\x1b[31m", why="y" * 10_000),
)


@pytest.mark.parametrize("change", MEANT)
def test_a_list_that_may_be_meant_leaves_a_store_that_reports_and_hands_it_on(
    tmp_path, parts, capsys, change
):
    told = json.loads(parts[bundle_in.LIST])
    change(told)
    write(tmp_path / "changed.zip", parts, told)
    url, again = str(tmp_path / "to.sqlite"), str(tmp_path / "again.sqlite")
    out = str(tmp_path / "out.zip")
    for words in (
        ["import", str(tmp_path / "changed.zip"), "--store", url],
        ["report", "1", "--store", url],
        ["report", "--group", "--store", url],
        ["amend", "1", "--store", url],
        ["export", out, "--as", "bundle", "--names", "--store", url],
        ["import", out, "--store", again],
    ):
        assert main(words) == 0, (words, capsys.readouterr().err)
