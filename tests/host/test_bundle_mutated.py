"""Bundles whose list says something else than any version writes: refused, or sound in the store."""

from __future__ import annotations

import hashlib
import json
import zipfile

import classes
import pytest

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles import packed as bundle_in


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
        (amended(what="reps", value="10000"), "holds no number"),
        (amended(what="held", value="216001"), "holds no number"),
        (amended(what="invalid", value="foo"), "holds no number"),
        (amended(was="abc"), "holds no number"),
        (amended(what="foo"), "row 1: what is not as"),
        (amended(at_utc_us=10**18), "row 1: at_utc_us is not as"),
        (amended(bib=10**30), "has a number that can't be"),
        (amended(slot=24), "row 1: slot is not as"),
        (amended(who="\x00\x1b[31m"), "row 1: who is not as"),
        (amended(why="y" * 401), "row 1: why is not as"),
        (amended(what="reps", value="5", window=999), "of windows that no log of it has"),
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
    amended(what="reps", value="9999", was=""),
    amended(what="held", value="end"),
    amended(what="bib", value="65535"),
    amended(what="name", value="", window=0, slot=0, bib=77),
    amended(at_utc_us=0, who="\u202e<b>", why="y" * 400),
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
