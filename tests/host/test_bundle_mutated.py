"""Bundles whose list says something else than any version writes: refused, or sound in the store."""

from __future__ import annotations

import hashlib
import json
import random
import zipfile

import classes
import pytest

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


@pytest.fixture(name="parts")
def _parts(tmp_path):
    """The parts of a bundle with a name and corrections."""
    url = str(tmp_path / "from.sqlite")
    with open_store(url) as store:
        for box, timeline, run in classes.make_class(boxes=2):
            store.put_timeline(timeline)
            store.ingest(run.journal, box, 1_790_000_000_000_000)
    assert main(["bibs", "1", "1=Uma", "--store", url]) == 0
    amend = ["amend", "1", "--bib", "3", "--invalid", "--why", "test", "--store", url]
    assert main(amend) == 0
    out = tmp_path / "whole.zip"
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
        url = str(tmp_path / f"{number}.sqlite")
        with open_store(url) as store:
            try:
                bundle_in.import_bundle(store, path)
            except HandbellError:
                continue
        taken += 1
        assert main(["report", "1", "--store", url]) == 0, (at, told)
    capsys.readouterr()
    assert taken > 3
