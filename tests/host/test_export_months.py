"""The export by hall and month: an engine that knows nothing of handbell sums it up the same."""

import pytest
from server_halls import NORTH, SOUTH, fill, login, prepared, run_sql
from sqlalchemy import func, select, text
from store_places import KINDS

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.database import tables
from handbell.store.database.parts import signed
from handbell_core.timeline import ASK_HOLD

duckdb = pytest.importorskip("duckdb", reason="pip install duckdb")
pytest.importorskip("pyarrow", reason="pip install 'handbell[export]'")


def asked(folder, table, what, more=""):
    files = f"{folder}/{table}/**/*.parquet"
    words = f"SELECT {what} FROM read_parquet('{files}', hive_partitioning = true) {more}"
    return duckdb.sql(words).fetchall()


def sums_of(store):
    """What the store's own tables come to: taps, and reps that stand in results."""
    tap, r, run = tables.taps.c, tables.results.c, tables.runs.c
    with store.reading() as conn:
        taps = conn.execute(
            select(func.count(), func.sum(tap.held_ms)).join(tables.runs, run.id == tap.run)
        ).one()
        task = tables.tasks.c
        joined = (task.timeline == run.timeline) & (task.window == r.window) & (task.slot == r.slot)
        reps = conn.scalar(
            select(func.sum(r.reps))
            .join(tables.runs, run.id == r.run)
            .join(tables.tasks, joined)
            .where(task.ask != ASK_HOLD)
        )
    return (*taps, reps)


def sums_read(folder, more=""):
    ((count, held),) = asked(folder, "taps", "count(*), sum(held_ms)", more)
    ((reps,),) = asked(folder, "results", "sum(reps)", more)
    return (count, held, reps)


@pytest.mark.parametrize("kind", KINDS)
def test_an_engine_reads_it_as_it_is_and_comes_to_the_same_sums(kind, tmp_path):
    folder, place = tmp_path / "lake", str(tmp_path / "s.sqlite")
    if kind == "postgresql":
        keeper = prepared()
        fill(login(keeper, "sid"), 2, {1: "Hal"})
        place = login(keeper, "bea")
        fill(f"{place}?hall=North", 12, {1: "Ada"})
    else:
        fill(place, 12, {1: "Ada"})
    assert main(["export", str(folder), "--as", "months", "--store", place]) == 0
    halls = {NORTH.number: "North", SOUTH.number: "South"} if kind == "postgresql" else {"none": ""}
    for number, name in halls.items():
        with open_store(f"{place}?hall={name}" if name else place) as store:
            assert sums_read(folder, f"WHERE hall = '{number}'") == sums_of(store)
    months = asked(folder, "classes", "month, count(*)", "GROUP BY 1 ORDER BY 1")
    assert [m for m, _ in months] == ["2026-09", "2026-10"]
    assert sum(n for _, n in months) == 12 + 2 * (kind == "postgresql")


def test_months_that_are_gone_leave_nothing(tmp_path, capsys):
    folder, place = tmp_path / "lake", str(tmp_path / "s.sqlite")
    fill(place, 12, {1: "Ada"})
    words = ["export", str(folder), "--as", "months", "--store", place]
    assert main(words) == 0
    kept = folder / "taps" / "mine.parquet.txt"
    kept.write_text("mine", encoding="utf-8")
    before = sorted(folder.rglob("*.parquet"))
    with open_store(place) as store, store.writing() as conn:
        conn.execute(
            text("UPDATE classes SET start_utc_us = (SELECT min(start_utc_us) FROM classes)")
        )
    assert main(words) == 0
    assert len({path.parent.name for path in folder.rglob("*.parquet")}) < len(
        {path.parent.name for path in before}
    )
    with open_store(place) as store:
        assert sums_read(folder) == sums_of(store)
    assert kept.read_text(encoding="utf-8") == "mine"
    assert main([*words, "1"]) == main([*words, "--person", "Ada"]) == 2
    capsys.readouterr()


def test_who_sees_all_halls_exports_them_without_names(tmp_path):
    address = prepared()
    database = address.rsplit("/", 1)[1]
    run_sql(
        address, f"ALTER ROLE overall IN DATABASE {database} SET search_path = nameless, public"
    )
    for name, worn in (("ann", "Ada"), ("sid", "Hal")):
        fill(login(address, name), 1, {1: worn})
    folder = tmp_path / "lake"
    store = login(address, "overall")
    assert main(["export", str(folder), "--as", "months", "--store", store]) == 0
    assert asked(folder, "results", "DISTINCT hall, person", "ORDER BY 1") == [
        (NORTH.number, None),
        (SOUTH.number, None),
    ]
    whole = b"".join(path.read_bytes() for path in folder.rglob("*.parquet"))
    assert b"Ada" not in whole and b"Hal" not in whole
    assert signed(SOUTH.number) < 0  # as the server has it
