"""Bundles from strangers: forged, too large, mutated, or cut off by a kill."""

import binascii
import hashlib
import json
import os
import random
import signal
import struct
import zipfile

import classes
import mutated_bundles
import pytest
from sqlalchemy import event
from store_places import import_bundle, new_place
from test_export_bundle import everything

from handbell.base.errors import HandbellError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles import form, limits
from handbell.store.bundles.bundle import export_bundle
from handbell.store.bundles.packed import CHECK, LIST
from handbell.store.classes import filing
from handbell.store.exports.schema import Wanted
from handbell.store.halls.known import put_hall
from handbell.store.halls.own import Hall
from handbell.store.people.forget import forget
from handbell.store.people.known_names import KnownNames
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_name
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

DAY_MS = 86_400_000
NORTH = Hall("00000000000000aa", "Northern hall")


def take(store, day=0, boxes=2, seed=1, first=0, minutes=60):
    """Take in a class of a day; return its number."""
    start_ms = classes.START_UTC_MS + day * DAY_MS
    for _, data, run in classes.make_class(boxes, seed=seed, start_utc_ms=start_ms, rounds=1):
        store.put_timeline(data)
        box = classes.BOX_IDS[first + t.Head.unpack(data[: t.HEADER_SIZE]).station - 1]
        taken = store.ingest(run.journal, box, (start_ms + minutes * 60_000) * 1000)
    return taken.class_id


@pytest.fixture(name="parts")
def _parts(tmp_path):
    """The parts of a bundle of one class, by name."""
    with open_store(new_place("sqlite", folder(tmp_path / "from"))) as store:
        take(store)
        store.put_plan(classes.PLAN_TEXT, "Two blocks")
        set_wearers(store, 1, {1: "Uma"})
        export_bundle(store, tmp_path / "whole.zip", Wanted())
    with zipfile.ZipFile(tmp_path / "whole.zip") as file:
        return {name: file.read(name) for name in file.namelist()}


def folder(path):
    path.mkdir()
    return path


def forged(parts, path, change):
    """Write a bundle with a timeline that was changed under its old digest, as "altered"."""
    told = json.loads(parts[LIST])
    name = next(name for name in sorted(parts) if name.startswith("timelines/"))
    data = bytearray(parts[name])
    change(data)
    data[60:64] = struct.pack("<I", binascii.crc32(data[:60]))
    data[-4:] = struct.pack("<I", binascii.crc32(data[64:-4]))
    for one in told["timelines"]:
        one["altered"] = True
    _write(path, parts | {name: bytes(data)}, told)
    return name.split("/")[1]


def _write(path, parts, told):
    told["parts"] = {
        name: hashlib.sha256(data).hexdigest()
        for name, data in parts.items()
        if name not in (LIST, CHECK)
    }
    body = json.dumps(told).encode()
    parts = parts | {LIST: body, CHECK: hashlib.sha256(body).hexdigest().encode()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for name, data in parts.items():
            file.writestr(name, data)


def easier(data):
    """Let each target of a timeline be one rep."""
    head = t.Head.unpack(bytes(data[:64]))
    for n in range(head.spans):
        at = head.spans_at() + t.SPAN_SIZE * n
        if data[at] == t.WINDOW and data[at + 1] == t.ASK_TARGET:
            data[at + 20 : at + 22] = b"\1\0"


def test_a_timeline_forged_under_a_digest_that_is_known_is_refused(tmp_path, parts):
    forged(parts, tmp_path / "forged.zip", easier)
    place = new_place("sqlite", tmp_path)
    with open_store(place) as store:
        take(store)
        before = everything(store)
        with pytest.raises(HandbellError, match="has another content than the one here"):
            import_bundle(store, tmp_path / "forged.zip")
        assert everything(store) == before
    assert main(["import", str(tmp_path / "forged.zip"), "--store", place]) == 1
    assert not list(tmp_path.glob("store-before-*")), "a refused one makes no copy either"


def test_a_forged_timeline_gives_way_when_the_real_one_is_sent(tmp_path, parts):
    with open_store(new_place("sqlite", folder(tmp_path / "plain"))) as store:
        take(store)
        sound = [(r.reps, r.made_ms, r.flags) for r in load_class(store, 1).results]
    digest = forged(parts, tmp_path / "forged.zip", easier)
    with open_store(new_place("sqlite", tmp_path)) as store:
        import_bundle(store, tmp_path / "forged.zip")
        assert [(r.reps, r.made_ms, r.flags) for r in load_class(store, 1).results] != sound
        store.put_timeline(parts[f"timelines/{digest}"])
        assert store.timeline(digest) == parts[f"timelines/{digest}"]
        assert [(r.reps, r.made_ms, r.flags) for r in load_class(store, 1).results] == sound


def test_a_timeline_without_a_name_stays_so_when_the_real_one_is_sent(tmp_path, parts):
    with open_store(new_place("sqlite", tmp_path)) as store:
        take(store)
        forget(store, "Ring rows")  # as if somebody were called so
        before = everything(store)
        for name, data in parts.items():
            if name.startswith("timelines/"):
                store.put_timeline(data)
        assert everything(store) == before


def longer_texts(data):
    """Let each text of a timeline be all that stands there, as no writer does."""
    head = t.Head.unpack(bytes(data[:64]))
    for n in range(head.strings):
        struct.pack_into("<I", data, t.HEADER_SIZE + 4 * n, n % 2 * head.string_bytes)


def no_step(data):
    """Let a tap of the first window stand for no rep."""
    head = t.Head.unpack(bytes(data[:64]))
    for n in range(head.spans):
        data[head.spans_at() + t.SPAN_SIZE * n + 3] = 0


@pytest.mark.parametrize("change", [longer_texts, no_step])
def test_a_timeline_that_no_plan_comes_to_is_refused(tmp_path, parts, change):
    forged(parts, tmp_path / "forged.zip", change)
    with open_store(new_place("sqlite", tmp_path)) as store:
        with pytest.raises(HandbellError, match="is damaged or no bundle"):
            import_bundle(store, tmp_path / "forged.zip")
        assert store.has_timeline("0" * 24) is False
        assert not everything(store)["classes"]


def test_a_bundle_that_would_swell_a_store_is_refused(tmp_path, parts, monkeypatch):
    """Zeros pack to a thousandth: a log of them is one of many damaged records."""
    monkeypatch.setattr(limits, "GROWTH_FREE", 1_000_000)
    told = json.loads(parts[LIST])
    name = next(name for name in parts if name.startswith("logs/"))
    swollen = parts[name] + bytes(1_900_000 // 24 * 24)
    digest = classes.digest_of(swollen)
    fresh = {f"logs/{digest}": swollen, **{k: v for k, v in parts.items() if k != name}}
    told = json.loads(json.dumps(told).replace(name.split("/")[1], digest))
    _write(tmp_path / "big.zip", fresh, told)
    with (
        open_store(new_place("sqlite", tmp_path)) as store,
        pytest.raises(HandbellError, match=r"bytes .* would come"),
    ):
        import_bundle(store, tmp_path / "big.zip")


def test_a_kill_at_any_moment_leaves_the_store_as_before_or_after(tmp_path, parts):
    path, place = tmp_path / "whole.zip", tmp_path / "store.sqlite"
    empty = place_of(tmp_path)
    after, count = _import(place, path)
    assert after != empty
    moments = [1, *random.Random(4).sample(range(2, count), 10), count]
    for moment in moments:
        assert place_of(tmp_path) == empty
        child = os.fork()
        if not child:
            _import(place, path, moment)
            os._exit(1)
        assert os.waitpid(child, 0)[1] == signal.SIGKILL
        with open_store(str(place)) as store:
            assert _all(store) == empty, moment
    assert _import(place, path)[0] == after


def place_of(folder):
    """Make a new store in a folder, and return what it holds."""
    for left in folder.glob("store.sqlite*"):
        left.unlink()
    with open_store(new_place("sqlite", folder)) as store:
        return _all(store)


def _all(store):
    return json.dumps(everything(store), default=str)


def _import(place, path, kill_at=0):
    """Import, killed before a statement or, after the last, its commit; return what is there then,
    and how many moments there are.
    """
    count = 0

    def count_on(*_):
        nonlocal count
        count += 1
        if count == kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    with open_store(str(place)) as store:
        for name in ("before_cursor_execute", "commit"):
            event.listen(store.engine, name, count_on)
        import_bundle(store, path)
        done = count
        return _all(store), done


def test_names_of_a_deleted_class_and_of_a_hall_are_looked_for(tmp_path):
    with open_store(new_place("sqlite", tmp_path)) as store:
        take(store)
        set_wearers(store, 1, {1: "Zora Wall"})
        amend_name(store, load_class(store, 1), 2, Change("name", "Ada Kern", "C", "seen", 5))
        filing.delete_class(store, 1, 6)
        put_hall(store, NORTH)
        with store.reading() as conn:
            known = KnownNames(conn)
    assert known.found("for Zora and Kern in the northern hall") == [
        "Kern",
        "Zora",
        "northern hall",
    ]
    assert known.count == 3
    assert known.without("Northern hall", of_exercise=True) == "Northern hall"


def test_the_list_of_a_bundle_is_as_its_published_schema_says(parts):
    jsonschema = pytest.importorskip("jsonschema")
    schema = json.loads(form.PATH.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(parts[LIST]))
    assert form.main(["--check"]) == 0


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_some_of_the_mutated_bundles_are_refused_or_taken_in_whole():
    found = mutated_bundles.attacks(40, seed=7)
    assert found["faults"] == []
    assert found["refused"] > 8 and found["taken"] > 1
