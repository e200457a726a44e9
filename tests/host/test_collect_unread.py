"""Collecting logs that can't be read: nothing is lost, it is said, and the command fails."""

from types import SimpleNamespace

import classes
import pytest

from handbell.base.errors import BoxError
from handbell.boxes.clocks.clock import Clocks
from handbell.boxes.link.fleet import Outcome
from handbell.boxes.link.messages import File, Hello, Listed
from handbell.boxes.link.replies import DROP
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.logs import salvage
from handbell.work.in_class import collect as commands

COLLECTED_US = (classes.START_UTC_MS + 3_600_000) * 1000


class Box:
    """A box on a wire that never fails: it lists, gives and drops."""

    def __init__(self, box_id, station, runs, timelines):
        self.who = Hello(box_id, station=station)
        self.label = f"Station {station}"
        self.clock = SimpleNamespace(utc_us=lambda: COLLECTED_US)
        self.files = {
            "runs": {f"{n:04}": data for n, data in enumerate(runs)},
            "timelines": {classes.digest_of(data): data for data in timelines},
        }

    def ask(self, kind, of, **more):
        names = sorted(self.files[of])
        if kind is DROP:
            del self.files[of][more["name"]]
            return None
        if more["i"] >= len(names):
            return Listed(len(names), None)
        name, data = names[more["i"]], self.files[of][names[more["i"]]]
        return Listed(len(names), File(name, len(data), classes.digest_of(data)))

    def fetch(self, of, name, size, data):
        return self.files[of][name][:size]


class Wall:
    """The boxes that are plugged in."""

    strangers = ()

    def __init__(self, boxes):
        self.boxes = boxes

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def each(self, work):
        return [Outcome("port", box.label, box.who, work(box)) for box in self.boxes]


def lost(_, connection, __):
    raise BoxError(connection.label, "tells no time")


@pytest.fixture
def plugged_in(tmp_path, monkeypatch):
    """Return what plugs boxes in; their clocks tell nothing."""
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("HANDBELL_STORE", str(tmp_path / "store.sqlite"))
    monkeypatch.setattr(Clocks, "contact", lost)

    def plug_in(*boxes):
        monkeypatch.setattr(commands, "open_fleet", lambda ports: Wall(boxes))

    return plug_in


def damaged(journal):
    return b"\xff" * 24 + journal[24:]


def test_a_damaged_log_is_read_by_a_timeline_that_only_the_box_still_has(plugged_in, capsys):
    box_id, data, run = classes.make_class(boxes=1)[0]
    box = Box(box_id, 1, [damaged(run.journal)], [data])
    plugged_in(box)
    assert main(["collect"]) == 0
    said = capsys.readouterr().out
    assert "1 new of 1" in said and "The log's first record is damaged" in said
    assert box.files["runs"] == {}


def test_a_log_that_stays_unread_is_told_loudly_and_kept(plugged_in, capsys):
    box_id, data, run = classes.make_class(boxes=1)[0]
    journal = b"\xff" * len(run.journal)
    plugged_in(Box(box_id, 1, [journal], [data]))
    assert main(["collect"]) == 1
    assert "NOT READ: Log " in capsys.readouterr().out
    with open_store() as store:
        (kept,) = salvage.unread(store)
    assert kept.journal == journal
    assert main(["unread"]) == 0
    assert "does not begin with a sound record of what was played" in capsys.readouterr().out


def test_what_comes_in_after_a_damaged_log_may_tell_what_it_is(plugged_in, capsys):
    made = classes.make_class(boxes=2)
    with open_store() as store:
        store.put_timeline(classes.timeline(bibs=(1, 2), who="Lane A", plan=b"another"))
        for _, data, _ in made:
            store.put_timeline(data)
    plugged_in(
        Box(made[0][0], 1, [damaged(made[0][2].journal)], []),
        Box(made[1][0], 2, [made[1][2].journal], []),
    )
    assert main(["collect"]) == 0
    assert "NOT READ" not in capsys.readouterr().out
    with open_store() as store:
        assert salvage.unread(store) == []
