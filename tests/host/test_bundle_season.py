"""A season with every kind of correction, handed on: the same there but for who was forgotten."""

import zipfile

import classes
from sqlalchemy import func, select
from store_places import import_bundle, new_place
from test_bundle_strangers import DAY_MS, folder, take

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.classes import filing
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.people.forget import forget
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_efforts, amend_name, undo
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class


def season(store):
    """Five classes with a correction of every kind, a join, a part, a date and a deletion."""
    for day in range(5):
        take(store, day, boxes=3 if day else 2, seed=day + 1)
        set_wearers(store, day + 1, {1: "Uma", 2: "Otto", 3: "Ida"}, absent=[4] if day else [])

    def amend(class_id, bib, what, value, at, exercise="Ring rows"):
        record = load_class(store, class_id)
        some = places_of(record, bib, Among(exercise), as_planned=what == "bib")
        places = one_window(record, some) if what in ("reps", "held") else some
        return amend_efforts(store, record, places, Change(what, value, "Ada", "seen", at))

    amend(1, 1, "reps", "4", 10)
    amend(1, 2, "held", "25", 11, "Front plank")
    amend(2, 3, "invalid", "yes", 12)
    amend(2, 1, "bib", "9", 13, "")
    (one,) = amend(3, 2, "reps", "7", 14)
    undo(store, load_class(store, 3), one.digest, "Ada", 15)
    amend_name(store, load_class(store, 3), 3, Change("name", "Mina", "Ada", "not Ida", 16))
    url = str(store.engine.url.database)
    for class_id in (4, 2):
        with store.reading() as conn:
            of = select(tables.runs.c.digest).where(tables.runs.c.class_id == class_id)
            logs = conn.scalars(of.order_by(tables.runs.c.station)).all()
        assert main(["class", str(class_id), "--apart", logs[2][:8], "--store", url]) == 0
    with store.reading() as conn:
        newest = conn.scalar(select(func.max(tables.classes.c.id)))
    assert main(["class", str(newest), "--join", "2", "--store", url]) == 0
    filing.set_date(store, 3, (classes.START_UTC_MS - 7 * DAY_MS) * 1000, at_utc_us=17)
    filing.delete_class(store, 5, 18)


def told_of(store):
    """All that a store says of its classes, by their logs: what differs by store is left out."""
    with store.reading() as conn:
        rows = {name: conn.execute(select(table)).mappings().all() for name, table in ALL.items()}
    log = {row["id"]: row["digest"] for row in rows["runs"]}
    of = {}
    for row in rows["runs"]:
        of.setdefault(row["class_id"], []).append(row["digest"])
    said = {"classes": sorted(tuple(sorted(logs)) for logs in of.values())}
    for name, own in ALL_BUT.items():
        said[name] = sorted(
            repr(
                [
                    sorted(of[value])
                    if key == "class_id"
                    else log[value]
                    if key == "run"
                    else value
                    for key, value in row.items()
                    if key not in own
                ]
            )
            for row in rows[name]
        )
    return said


ALL_BUT = {
    "runs": ("id", "origin", "filed", "kept", "met_seq"),
    **dict.fromkeys(("taps", "results", "sums", "amendments", "ratings", "notes", "wearers"), ()),
    **dict.fromkeys(("plans", "timelines", "tasks"), ()),
}
ALL = {name: tables.metadata.tables[name] for name in ALL_BUT}


def test_a_season_handed_on_is_the_same_but_for_who_was_forgotten(tmp_path, capsys):
    whole, without = tmp_path / "all.zip", tmp_path / "less.zip"
    with (
        open_store(new_place("sqlite", folder(tmp_path / "a"))) as mine,
        open_store(new_place("sqlite", folder(tmp_path / "b"))) as theirs,
        open_store(new_place("sqlite", folder(tmp_path / "c"))) as third,
    ):
        season(mine)
        with mine.reading() as conn:
            kinds = set(conn.scalars(select(tables.amendments.c.what)))
        assert kinds == {"reps", "held", "bib", "name", "invalid"}
        export_bundle(mine, whole, Wanted())
        import_bundle(theirs, whole)
        assert _diff(told_of(theirs), told_of(mine)) == {}
        for store in (mine, theirs):
            forget(store, "Otto")
        assert _diff(told_of(theirs), told_of(mine)) == {}
        export_bundle(mine, without, Wanted())
        with zipfile.ZipFile(without) as file:
            assert not any(b"Otto" in file.read(name) for name in file.namelist())
        import_bundle(third, without)
        assert _diff(told_of(third), told_of(mine)) == {}
        again = import_bundle(third, without)
        assert (again.runs_new, again.amendments_new, again.names_new) == (0, 0, 0)
    capsys.readouterr()


def _diff(one, other):
    """What only one of two stores says, by table."""
    return {name: (set(one[name]) ^ set(other[name])) for name in one if one[name] != other[name]}
