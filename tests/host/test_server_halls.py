"""A server for many halls: prepared, filled hall by hall, and what each login sees of it."""

import dataclasses

import classes
import pytest
from older import BACK_TO_0012, differences, without_parts
from server_halls import AT_US, NORTH, SOUTH, Session, fill, login, prepared, run_sql
from sqlalchemy import select, text
from store_places import PASSWORD, prepare, require_server

from handbell.base.errors import StoreError, UsageError
from handbell.cli.main import main
from handbell.store import migrate, open_store
from handbell.store.database import tables
from handbell.store.database.parts import in_hex, signed
from handbell.store.halls.own import save_hall
from handbell.store.halls.server import Asked
from handbell.store.people.forget import forget
from handbell.store.results.queries import list_classes, load_class

BESIDE = {  # what is no hall's
    "alembic_version": "of the store as a whole: its version",
    "server_halls": "which halls there are; no login may read it",
    "server_members": "which login is of which; no login may read it",
}


@pytest.fixture(scope="module")
def filled() -> str:
    """A store of two halls with the same first class; it is only read."""
    address = prepared()
    database = address.rsplit("/", 1)[1]  # a copied database has no settings of logins
    run_sql(
        address, f"ALTER ROLE overall IN DATABASE {database} SET search_path = nameless, public"
    )
    fill(login(address, "ann"), 1, {1: "Ada", 2: "Ben"})
    fill(login(address, "sid"), 2, {1: "Hal", 2: "Ida"})
    return address


def test_every_table_is_a_hall_s_and_its_keys_begin_with_the_hall(filled):
    session = Session(filled)
    (found,) = session.answers(
        "SELECT relname, relrowsecurity AND relforcerowsecurity, relowner::regrole::text, "
        "(SELECT rolcanlogin FROM pg_roles WHERE oid = relowner) FROM pg_class "
        "WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
    )
    assert {name for name, *_ in found} == {*tables.metadata.tables, *BESIDE}
    of_halls = [row for row in found if row[0] not in BESIDE]
    assert {row[1:] for row in of_halls} == {(True, "handbell_tables", False)}
    (keys,) = session.answers(
        "SELECT conname, (SELECT attname FROM pg_attribute WHERE attrelid = conrelid "
        "AND attnum = conkey[1]) FROM pg_constraint WHERE contype IN ('p', 'u', 'f') "
        "AND connamespace = 'public'::regnamespace AND NOT conrelid::regclass::text = "
        "ANY (ARRAY['alembic_version', 'server_halls', 'server_members'])"
    )
    assert len(keys) > 25 and {first for _, first in keys} == {"in_hall"}
    (views,) = session.answers(
        "SELECT relname FROM pg_class WHERE relkind = 'v' AND relnamespace IN "
        "('public'::regnamespace, 'nameless'::regnamespace) "
        "AND NOT coalesce('security_invoker=true' = ANY (reloptions), false)"
    )
    assert views == []
    session.close()


def test_each_hall_has_its_own_classes_from_number_1(filled):
    for name, days, worn in (("ann", 1, "Ada"), ("sid", 2, "Hal")):
        with open_store(login(filled, name)) as store:
            assert sorted(row.id for row in list_classes(store)) == [*range(1, days + 1)]
            record = load_class(store, 1)
            assert len(record.runs) == 2 and record.wearers[1].name == worn


def test_a_login_of_two_halls_says_which_or_its_computer_does(filled):
    address = login(filled, "bea")
    with pytest.raises(StoreError, match=r"it is not said which hall\. There are North and South"):
        open_store(address)
    for said, days in (("North", 1), ("south", 2), ("f000", 2)):
        with open_store(f"{address}?hall={said}") as store:
            assert len(list_classes(store)) == days
    with pytest.raises(StoreError, match="no hall 'East' is there for this login"):
        open_store(f"{address}?hall=East")
    save_hall(SOUTH)
    with open_store(address) as store:
        assert len(list_classes(store)) == 2
    session = Session(address)  # by itself it sees both
    (counts,) = session.answers("SELECT hall, classes FROM hall_months ORDER BY 1")
    assert counts == [(NORTH.number, 1), (SOUTH.number, 2)]
    session.close()


def test_a_login_of_one_hall_can_not_say_another(filled):
    with pytest.raises(StoreError, match="no hall 'South' is there for this login"):
        open_store(f"{login(filled, 'ann')}?hall=South")


def test_who_sees_all_halls_sees_no_name_and_writes_nothing(filled):
    """Of every column that it may read, and of every one that it may not."""
    session = Session(login(filled, "overall"))
    may, may_not = [], []
    for table in tables.metadata.sorted_tables:
        for place in ("", "public."):
            for column in ("in_hall", *table.columns.keys()):
                (told,) = session.answers(f'SELECT "{column}" FROM {place}{table.name}')
                refused = isinstance(told, tuple)
                (may_not if refused else may).append((place, table.name, column))
                assert refused or not any(
                    name in repr(told) for name in ("Ada", "Ben", "Hal", "Ida")
                )
    assert ("public.", "persons", "name") in may_not and ("", "persons", "name") in may
    assert ("public.", "results", "reps") in may and not [p for p in may_not if not p[0]]
    assert {place for place, *_ in may_not} == {"public."}
    (halls,) = session.answers("SELECT DISTINCT in_hall FROM runs ORDER BY 1")
    assert [in_hex(number) for (number,) in halls] == [SOUTH.number, NORTH.number]
    (months,) = session.answers("SELECT hall, classes, logs FROM hall_months ORDER BY hall")
    assert months == [(NORTH.number, 1, 2), (SOUTH.number, 2, 4)]
    for words in (
        "UPDATE runs SET station = 1",
        "DELETE FROM taps",
        "SELECT * FROM server_members",
    ):
        assert session.answers(words)[0][0] == "42501", words
    session.close()


def test_a_store_that_was_there_becomes_one_hall_s_whole(tmp_path, capsys):
    address = require_server().new_database()
    fill(address, 2, {1: "Ada"})
    with open_store(address) as store:
        before = [dataclasses.asdict(row) for row in list_classes(store)]
        with store.writing() as conn:
            without_parts(conn)
            for words in (*BACK_TO_0012, "UPDATE alembic_version SET version_num = '0012'"):
                conn.execute(text(words))
    words = ["store", "server", "--store", address]
    assert main(words) == 2
    assert "not said of which hall" in capsys.readouterr().err
    save_hall(NORTH, tmp_path / "north.toml")
    words += ["--hall", str(tmp_path / "north.toml"), "--coach", "ann"]
    assert main([*words, "--dry-run"]) == 0
    said = capsys.readouterr().out
    assert "FORCE ROW LEVEL SECURITY;" in said and 'GRANT handbell_coach TO "ann";' in said
    with open_store(address) as store, store.reading() as conn:  # nothing was done
        assert conn.scalar(text("SELECT to_regclass('server_halls')")) is None
    assert main(words) == main(words) == 0
    assert "North (00000000000000b1): ann" in capsys.readouterr().out
    run_sql(address, f"ALTER ROLE ann PASSWORD '{PASSWORD}'")
    with open_store(login(address, "ann")) as store:
        assert [dataclasses.asdict(row) for row in list_classes(store)] == before
        fill(login(address, "ann"), 3, {1: "Ada"})
        assert [row.id for row in list_classes(store)] == [3, 2, 1]
        assert load_class(store, 1).wearers[1].name == "Ada"


def test_its_keeper_brings_it_up_to_date_hall_by_hall_and_no_coach_does(monkeypatch, capsys):
    address = prepared()
    fill(login(address, "ann"), 1, {1: "Ada"})
    fill(login(address, "sid"), 2, {1: "Hal"})
    run_sql(address, "UPDATE alembic_version SET version_num = '0015'")
    with pytest.raises(StoreError, match="this login may not change its tables"):
        open_store(login(address, "ann"))
    run_sql(address, "DELETE FROM sums", "UPDATE taps SET stands = false")
    monkeypatch.setattr(migrate, "DERIVED_SINCE", "0016")  # as if that step counted anew
    assert main(["store", "server", "--store", address]) == 0
    for name, days in (("ann", 1), ("sid", 2)):
        with open_store(login(address, name)) as store, store.reading() as conn:
            assert len(list_classes(store)) == days
            assert conn.scalar(text("SELECT count(*) FROM sums")) > 0
            assert conn.scalar(text("SELECT count(*) FROM taps WHERE stands")) > 0
    with pytest.raises(StoreError, match="This login keeps the server"):
        open_store(address)


def test_the_same_log_in_two_halls_is_two_logs_and_goes_in_once_each(filled):
    with open_store(f"{login(filled, 'bea')}?hall=North") as store:
        box, _, run = classes.make_class(2, 2, 0, classes.START_UTC_MS, rounds=1)[0]
        assert not store.ingest(run.journal, box, AT_US).new


def test_logins_that_could_do_more_are_refused():
    address = prepared()
    run_sql(address, "DROP ROLE IF EXISTS mighty", "CREATE ROLE mighty LOGIN CREATEROLE")
    for who in ("mighty", "coach"):
        with pytest.raises(UsageError, match=f"The login {who} may see or change all halls"):
            prepare(address, Asked(hall=NORTH, coaches=(who,)))
    with pytest.raises(UsageError, match="ann is a coach's, which sees names"):
        prepare(address, Asked(owners=("ann",)))
    with pytest.raises(UsageError, match="not said of which hall"):
        prepare(address, Asked(coaches=("ann",)))
    prepare(address, Asked(hall=NORTH, without=("ann",)))
    with pytest.raises(StoreError, match="This login is of no hall"):
        open_store(login(address, "ann"))


def test_who_is_made_to_see_all_halls_and_is_a_coach_sees_only_their_own(filled):
    """Somebody granted the role by hand: names stay in the hall."""
    address = require_server().new_database(filled.rsplit("/", 1)[1])
    run_sql(address, "CREATE ROLE slip LOGIN IN ROLE handbell_coach, handbell_owner")
    run_sql(
        address,
        f"ALTER ROLE slip PASSWORD '{PASSWORD}'",
        f"INSERT INTO server_members VALUES ({signed(NORTH.number)}, 'slip')",
    )
    with open_store(login(address, "slip")) as store, store.reading() as conn:
        names = set(conn.scalars(select(tables.persons.c.name)))
    assert names == {"Ada", "Ben"}


def test_a_keeper_need_not_be_a_superuser():
    server = require_server()
    address = server.new_database()
    name = address.rsplit("/", 1)[1]
    run_sql(
        address,
        f"CREATE ROLE keeper_{name} LOGIN CREATEROLE PASSWORD '{PASSWORD}'",
        f"ALTER DATABASE {name} OWNER TO keeper_{name}",
    )
    keeper = server.address(name, f"keeper_{name}")
    words = ["store", "server", "--store", keeper, "--hall", NORTH.number, "--coach", "ann"]
    assert main(words) == main(words) == 0
    run_sql(address, f"ALTER ROLE ann PASSWORD '{PASSWORD}'")
    fill(login(address, "ann"), 1, {1: "Ada"})
    with pytest.raises(StoreError, match="This login keeps the server"):
        open_store(keeper)


def test_a_coach_forgets_in_the_hall_and_is_told_what_the_keeper_is_to_do(filled):
    address = require_server().new_database(filled.rsplit("/", 1)[1])
    with open_store(login(address, "ann")) as store:
        found = forget(store, "Ada")
    assert any("VACUUM FULL" in words for words in found.warnings)
    with open_store(login(address, "sid")) as store:
        assert load_class(store, 1).wearers[1].name == "Hal"


def test_the_tables_of_a_server_are_those_of_the_code():
    with open_store(require_server().new_database()) as store:
        assert differences(store) == []
