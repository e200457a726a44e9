"""What a coach's login can learn of another hall by whatever it says to the server: nothing.

The same is said to two stores that differ in South's rows alone: North's login must get the same
answers, to the letter, be they rows, notices or errors. What is not kept from it stands in
docs/engineers/server.md.
"""

import re

import pytest
from server_halls import NORTH, SOUTH, Session, fill, login, prepared
from sqlalchemy import text
from store_places import require_server

from handbell.store import open_store
from handbell.store.database.parts import signed

HERS, NOT = signed(NORTH.number), signed(SOUTH.number)
ATTACKS = {
    "count": "SELECT count(*) FROM taps",
    "read names": "SELECT name FROM persons ORDER BY name",
    "read whole rows": "SELECT w FROM wearers w ORDER BY class_id, bib",
    "ask by hall": f"SELECT * FROM runs WHERE in_hall = {NOT}",
    "which halls": "SELECT DISTINCT in_hall FROM runs",
    "guess a name": "SELECT name FROM persons WHERE name = 'Hal'",
    "join": "SELECT count(*) FROM classes c JOIN plans p ON p.digest = c.plan",
    "join by number": "SELECT count(*) FROM runs r JOIN taps t ON t.run = r.id",
    "outer join": f"SELECT r.id, s.id FROM runs r FULL JOIN runs s ON s.in_hall = {NOT} ORDER BY 1",
    "say to be there": f"SET handbell.hall = '{NOT}' ;; SELECT count(*) FROM runs",
    "say to be everywhere": "SET handbell.hall = '' ;; SELECT count(*) FROM runs",
    "policies off": "SET row_security = off ;; SELECT * FROM runs",
    "as the owner of the tables": "SET ROLE handbell_tables ;; SELECT count(*) FROM runs",
    "as the owner of all": "SET ROLE handbell_owner ;; SELECT count(*) FROM runs",
    "as another login": "SET SESSION AUTHORIZATION sid ;; SELECT count(*) FROM runs",
    "read notes": "SELECT what FROM person_notes",
    "copy out": "COPY wearers TO STDOUT",
    "copy a query out": f"COPY (SELECT * FROM wearers WHERE in_hall = {NOT}) TO STDOUT",
    "copy in": "COPY halls (number) FROM STDIN",
    "copy to a program": "COPY wearers TO PROGRAM 'cat'",
    "its key, mine": "INSERT INTO plans (digest, title) VALUES ('{plan}', 'x') RETURNING digest",
    "its key, its hall": f"INSERT INTO plans (in_hall, digest, title) VALUES ({NOT}, '{{plan}}', '')",
    "its key, passed over": f"INSERT INTO plans (in_hall, digest, title) VALUES ({NOT}, '{{plan}}',"
    " '') ON CONFLICT DO NOTHING",
    "its key, written over": f"INSERT INTO plans (in_hall, digest, title) VALUES ({NOT}, '{{plan}}',"
    " '') ON CONFLICT (in_hall, digest) DO UPDATE SET title = 'x' RETURNING *",
    "point to its row": "INSERT INTO ratings (run, bib, rating) VALUES ({run}, 1, 1)",
    "point there": f"INSERT INTO ratings (in_hall, run, bib, rating) VALUES ({NOT}, {{run}}, 1, 1)",
    "point a key of mine": "CREATE TABLE mine (h bigint, d varchar, FOREIGN KEY (h, d) "
    "REFERENCES plans (in_hall, digest))",
    "change": f"UPDATE runs SET station = 9 WHERE in_hall = {NOT} RETURNING id",
    "move there": f"UPDATE boxes SET in_hall = {NOT}",
    "delete": "DELETE FROM persons WHERE name = 'Hal' RETURNING *",
    "delete all": "DELETE FROM wearers RETURNING *",
    "merge": f"MERGE INTO wearers w USING (SELECT 1) one ON w.in_hall = {NOT} "
    "WHEN MATCHED THEN DELETE WHEN NOT MATCHED THEN DO NOTHING",
    "truncate": "TRUNCATE wearers",
    "lock its rows": "SELECT id FROM runs ORDER BY id FOR UPDATE",
    "the next number": "SELECT next_id('classes'), next_id('runs')",
    "a number of its": f"SELECT nextval('runs_of_{SOUTH.number}')",
    "its last number": f"SELECT last_value FROM runs_of_{SOUTH.number}",
    "its last number, listed": "SELECT sequencename, last_value FROM pg_sequences ORDER BY 1",
    "a number as it": f"SET handbell.hall = '{NOT}' ;; SELECT next_id('classes')",
    "a cheap function that tells": "CREATE FUNCTION pg_temp.peek(text) RETURNS boolean LANGUAGE "
    "plpgsql COST 0.0000001 AS $$ BEGIN RAISE NOTICE '%', $1; RETURN true; END $$ ;; "
    "SELECT count(*) FROM persons WHERE pg_temp.peek(name)",
    "a cast's error": "SELECT name::integer FROM persons WHERE name <> 'Ada'",
    "a division's error": "SELECT 1 / (CASE WHEN name = 'Hal' THEN 0 ELSE 1 END) FROM persons",
    "a view of mine": "CREATE TEMP VIEW v AS SELECT * FROM wearers ;; SELECT * FROM v",
    "a view for others": "CREATE VIEW public.v AS SELECT * FROM wearers",
    "the months": "SELECT * FROM hall_months",
    "the owner's views": "SELECT * FROM nameless.wearers",
    "who is of it": "SELECT * FROM server_members",
    "its logins": "SELECT * FROM named_halls() ;; SELECT seen_halls()",
    "what is known of columns": "SELECT * FROM pg_stats WHERE schemaname = 'public'",
    "the same, below": "SELECT * FROM pg_statistic",
    "at its place": 'SELECT name FROM persons WHERE ctid = ANY (\'{{"(0,1)","(0,2)","(0,3)",'
    '"(0,4)","(0,5)","(0,6)","(0,7)","(0,8)"}}\'::tid[])',
    "a sample": "SELECT count(*) FROM taps TABLESAMPLE SYSTEM (100)",
    "as XML": "SELECT table_to_xml('wearers', true, false, '')",
    "a cursor": "DECLARE c CURSOR FOR SELECT name FROM persons ORDER BY 1 ;; FETCH ALL FROM c",
    "no more policy": "DROP POLICY by_hall ON wearers",
    "a policy of mine": "CREATE POLICY p ON wearers USING (true)",
    "not forced": "ALTER TABLE wearers NO FORCE ROW LEVEL SECURITY",
    "a trigger": "CREATE TRIGGER t AFTER INSERT ON wearers EXECUTE FUNCTION "
    "suppress_redundant_updates_trigger()",
    "a rule": "CREATE RULE r AS ON SELECT TO wearers DO INSTEAD SELECT 1",
    "statistics of mine": "CREATE STATISTICS s ON class_id, bib FROM wearers",
    "looked through": "ANALYZE VERBOSE wearers",
    "what it holds, raw": "SELECT pg_read_file('PG_VERSION')",
    "be let in": "INSERT INTO server_members VALUES ({south}, 'ann')",
    "be its coach": "GRANT handbell_owner TO ann",
}


@pytest.fixture(scope="module")
def worlds():
    """A store in which South has rows, and one in which it has none; else they are the same."""
    bare = prepared()
    fill(login(bare, "ann"), 1, {1: "Ada", 2: "Ben"})
    full = require_server().new_database(bare.rsplit("/", 1)[1])
    fill(login(full, "sid"), 3, {1: "Hal", 2: "Ada", 3: "Ida"})
    for address in (full, bare):
        require_server().run(address.rsplit("/", 1)[1], "ANALYZE")
    return full, bare


@pytest.fixture(scope="module")
def secrets(worlds):
    with open_store(login(worlds[0], "sid")) as store, store.reading() as conn:
        plan = conn.scalar(text("SELECT digest FROM plans LIMIT 1"))
        run = conn.scalar(text("SELECT max(id) FROM runs"))
    return {"plan": plan, "run": run, "south": NOT}


@pytest.fixture(scope="module")
def sessions(worlds):
    both = [Session(login(address, "ann")) for address in worlds]
    for session in both:
        session.conn.execute(f"SET handbell.hall = '{HERS}'")
        session.conn.commit()
    yield both
    for session in both:
        session.close()


@pytest.mark.parametrize("name", ATTACKS)
def test_a_login_of_one_hall_learns_nothing_of_another(sessions, secrets, name):
    script = ATTACKS[name].format(**secrets)
    full, bare = (session.answers(script) for session in sessions)
    assert full == bare
    assert not re.search("'(42601|42703|42883)'", repr(full)), "no attack, but a slip in its words"
    assert "Hal" not in repr(full) and "Ida" not in repr(full)


def test_what_is_its_own_it_sees(sessions):
    for session in sessions:
        (counts,) = session.answers(
            "SELECT (SELECT count(*) FROM runs), (SELECT count(*) > 20 FROM taps)"
        )
        assert counts == [(2, True)]


GUESSES = (
    "SELECT * FROM persons WHERE name = '{}'",
    "SELECT * FROM persons WHERE name > '{}'",
    "SELECT * FROM runs WHERE in_hall = '{}'::text::numeric",
    "SELECT * FROM runs WHERE in_hall = {}",
    "SELECT * FROM runs WHERE id = {}",
    "SELECT * FROM taps WHERE run = {} AND bib > 0",
    "SELECT * FROM taps t JOIN runs r ON r.id = t.run WHERE r.station = {}",
)
TRUE_AND_MADE_UP = (("Hal", "Xyz"), ("Hal", "Xyz"), *[(NOT, 7)] * 2, (1, 9), (3, 99), (2, 99))


@pytest.mark.parametrize("n", range(len(GUESSES)))
def test_the_planner_guesses_the_same_of_what_is_there_and_what_is_not(sessions, n):
    """It tells everybody how many rows it expects, from what it knows of a column's values."""
    plans = [
        repr(sessions[0].answers("EXPLAIN " + GUESSES[n].format(value)))
        for value in TRUE_AND_MADE_UP[n]
    ]
    rows = [re.findall(r"rows=(\d+)", plan) for plan in plans]
    assert rows[0] and rows[0] == rows[1], plans


def test_nobody_is_notified_of_what_another_hall_does(worlds, sessions):
    session = sessions[0]
    for channel in ("runs", "classes", "handbell", "taps"):
        session.conn.execute(f"LISTEN {channel}")
    session.conn.commit()
    fill(login(worlds[0], "sid"), 4, {4: "Udo"})
    assert list(session.conn.notifies(timeout=0)) == []
