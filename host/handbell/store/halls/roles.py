"""What the roles of a server with many halls may do, as statements for PostgreSQL 15 or newer.

- ``handbell_tables`` owns all; nobody logs in with it, and the policies hold for it, too.
- ``handbell_coach``: reads and writes the rows of those halls that its login is said to be of.
- ``handbell_owner``: reads the rows of all halls, and no column in which people's words may stand.

Who is of which hall stands in two tables that no login may read; ``seen_halls`` answers for the
login that asks, whatever role it takes on. Nothing but the halls' numbers is in the catalogue's
statistics of columns, since the planner tells its estimates to everybody.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Column, LargeBinary, String, Table
from sqlalchemy.dialects import postgresql

from handbell.store.database import tables
from handbell.store.database.parts import HALL, HERE, NUMBERED

OWNS, COACH, OWNER = "handbell_tables", "handbell_coach", "handbell_owner"
NAMELESS = "nameless"  # the schema in which an owner's login finds the tables first
POLICY = f"{HALL} = ANY ((SELECT seen_halls())::bigint[])"
# Of all that is text or bytes, what a program wrote: the rest is kept from an owner's login.
PLAIN = {"runs.reason", "unread.reason", "sums.asked", "halls.name"}

_DIALECT = postgresql.dialect()  # type: ignore[no-untyped-call]
_NAMES = _DIALECT.identifier_preparer
_ASKS = "LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp"
_FUNCTIONS = {
    "seen_halls()": f"""RETURNS bigint[] {_ASKS} AS $$
DECLARE said bigint := {HERE};
BEGIN
  IF pg_has_role(session_user, '{OWNS}', 'MEMBER')
    OR pg_has_role(session_user, '{OWNER}', 'MEMBER')
    AND NOT pg_has_role(session_user, '{COACH}', 'MEMBER')
  THEN
    RETURN ARRAY(SELECT number FROM server_halls WHERE said IS NULL OR number = said);
  END IF;
  RETURN ARRAY(
    SELECT hall FROM server_members
    WHERE login = session_user AND (said IS NULL OR hall = said)
  );
END $$""",
    "named_halls()": f"""RETURNS TABLE (number bigint, name text) {_ASKS} AS $$
BEGIN
  RETURN QUERY SELECT h.number, h.name FROM server_halls h WHERE h.number = ANY (seen_halls());
END $$""",
    "next_id(what text)": f"""RETURNS integer {_ASKS.replace(" STABLE", "")} AS $$
DECLARE mine bigint[] := seen_halls();
BEGIN
  IF cardinality(mine) <> 1 THEN
    RAISE EXCEPTION 'no hall is said';
  END IF;
  RETURN nextval(format('%I', what || '_of_' || lpad(to_hex(mine[1]), 16, '0'))::regclass);
END $$""",
}
MONTHS = f"""CREATE VIEW hall_months WITH (security_invoker = true) AS
SELECT lpad(to_hex(c.{HALL}), 16, '0') AS hall,
  to_char(to_timestamp(coalesce(c.start_utc_us, c.collected_utc_us) / 1000000.0) AT TIME ZONE 'UTC',
    'YYYY-MM') AS month,
  count(DISTINCT c.id) AS classes, count(DISTINCT r.id) AS logs, sum(s.reps) AS reps
FROM classes c JOIN runs r ON r.{HALL} = c.{HALL} AND r.class_id = c.id
LEFT JOIN sums s ON s.{HALL} = r.{HALL} AND s.run = r.id
GROUP BY 1, 2"""


def roles() -> Iterator[str]:
    """Make the roles where they are not there."""
    for role in (OWNS, COACH, OWNER):
        yield (
            f"DO $$ BEGIN IF to_regrole('{role}') IS NULL THEN CREATE ROLE {role} NOLOGIN; "
            "END IF; END $$"
        )
    yield (
        f"DO $$ BEGIN IF NOT pg_has_role(current_user, '{OWNS}', 'MEMBER') THEN "
        f"EXECUTE format('GRANT {OWNS} TO %I', current_user); END IF; END $$"
    )
    yield "REVOKE CREATE ON SCHEMA public FROM PUBLIC"
    yield f"GRANT USAGE, CREATE ON SCHEMA public TO {OWNS}"
    yield f"GRANT USAGE ON SCHEMA public TO {COACH}, {OWNER}"


def members() -> Iterator[str]:
    """Make the tables of halls and who is of them, and what answers from them."""
    yield (
        "CREATE TABLE IF NOT EXISTS server_halls (number bigint PRIMARY KEY, name text NOT NULL)"
    )
    yield (
        "CREATE TABLE IF NOT EXISTS server_members (hall bigint REFERENCES server_halls, "
        "login text, PRIMARY KEY (hall, login))"
    )
    for name in ("server_halls", "server_members"):
        yield f"ALTER TABLE {name} OWNER TO {OWNS}"
        yield f"REVOKE ALL ON {name} FROM PUBLIC, {COACH}, {OWNER}"
    for name, body in _FUNCTIONS.items():
        yield f"CREATE OR REPLACE FUNCTION {name} {body}"
        yield f"ALTER FUNCTION {name} OWNER TO {OWNS}"
        yield f"REVOKE ALL ON FUNCTION {name} FROM PUBLIC"
        yield f"GRANT EXECUTE ON FUNCTION {name} TO {COACH}, {OWNER}"


def secured(table: Table, new: bool) -> Iterator[str]:
    """Let a login see and write its halls' rows of a table alone."""
    name = _NAMES.format_table(table)
    yield f"ALTER TABLE {name} OWNER TO {OWNS}"
    columns = [_NAMES.format_column(c) for c in table.columns]
    if new:  # a column that is told its type anew loses what is known of its values
        same = (
            f"ALTER COLUMN {_NAMES.format_column(c)} TYPE {c.type.compile(_DIALECT)}"
            for c in table.columns
        )
        yield f"ALTER TABLE {name} {', '.join(same)}"
    unknown = (f"ALTER COLUMN {column} SET STATISTICS 0" for column in (HALL, *columns))
    yield f"ALTER TABLE {name} {', '.join(unknown)}"
    yield f"ALTER TABLE {name} ALTER COLUMN {HALL} SET DEFAULT {HERE}"
    yield f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY"
    yield f"ALTER TABLE {name} FORCE ROW LEVEL SECURITY"
    yield f"DROP POLICY IF EXISTS by_hall ON {name}"
    yield f"CREATE POLICY by_hall ON {name} USING ({POLICY}) WITH CHECK ({POLICY})"
    yield f"REVOKE ALL ON {name} FROM PUBLIC, {COACH}, {OWNER}"
    yield f"GRANT SELECT, INSERT, UPDATE, DELETE ON {name} TO {COACH}"
    told = (_NAMES.format_column(c) for c in table.columns if not may_name(c))
    yield f"GRANT SELECT ({', '.join([HALL, *told])}) ON {name} TO {OWNER}"


def no_views() -> Iterator[str]:
    """Take the views away: a step of a migration may change what they stand on."""
    yield f"DROP SCHEMA IF EXISTS {NAMELESS} CASCADE"
    yield "DROP VIEW IF EXISTS hall_months"


def views() -> Iterator[str]:
    """Make the views; each runs as the caller, so that the policies hold in it."""
    yield from no_views()
    yield f"CREATE SCHEMA {NAMELESS}"
    yield f"GRANT USAGE ON SCHEMA {NAMELESS} TO {OWNER}"
    for table in tables.metadata.sorted_tables:
        if any(may_name(c) for c in table.columns):
            name = _NAMES.format_table(table)
            told = ", ".join([HALL, *map(_nameless, table.columns)])
            yield (
                f"CREATE VIEW {NAMELESS}.{name} WITH (security_invoker = true) AS "
                f"SELECT {told} FROM public.{name}"
            )
            yield f"GRANT SELECT ON {NAMELESS}.{name} TO {OWNER}"
    yield MONTHS
    yield f"GRANT SELECT ON hall_months TO {COACH}, {OWNER}"
    yield f"GRANT SELECT ON alembic_version TO {COACH}, {OWNER}"


def may_name(column: Column[object]) -> bool:
    """Whether a name may stand in a column: text and bytes of which we don't know that none does.

    Codes, digests and words of our own have a length.
    """
    kind = column.type
    told = isinstance(kind, LargeBinary) or (isinstance(kind, String) and kind.length is None)
    return told and f"{column.table.name}.{column.name}" not in PLAIN


def _nameless(column: Column[object]) -> str:
    name = str(_NAMES.format_column(column))
    if not may_name(column):
        return name
    return f"NULL::{column.type.compile(_DIALECT)} AS {name}"


def numbers(number: str) -> Iterator[str]:
    """Make what numbers a hall's rows."""
    for table in NUMBERED:
        yield f"CREATE SEQUENCE IF NOT EXISTS {table}_of_{number} AS integer"
        yield f"ALTER SEQUENCE {table}_of_{number} OWNER TO {OWNS}"


def taken_over(hall: int, number: str) -> Iterator[str]:
    """Make all rows that are of no hall yet those of one."""
    yield "SET CONSTRAINTS ALL DEFERRED"
    for table in tables.metadata.sorted_tables:
        yield f"UPDATE {_NAMES.format_table(table)} SET {HALL} = {hall} WHERE {HALL} = 0"
    yield "SET CONSTRAINTS ALL IMMEDIATE"
    for name in NUMBERED:
        yield f"SELECT setval('{name}_of_{number}', max(id)) FROM {name} HAVING max(id) > 0"
