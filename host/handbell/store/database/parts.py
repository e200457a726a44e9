"""On a server each hall has its part of every table: a column, and keys that begin with it.

The code never names the column. What it inserts gets the hall of the session, and where the server
was prepared for halls (``halls/server``) a session sees the rows of its own alone. A file has one
keeper and no such column. Tables are laid out from ``tables`` after all steps of a migration, so a
step says nothing of halls, nor a table that is new; it makes no foreign key on a server.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Column, Connection, Table, UniqueConstraint, text
from sqlalchemy.dialects import postgresql

from . import tables

HALL = "in_hall"  # the hall's number with a sign, as 8 bytes; 0: of no hall
SAID = "handbell.hall"  # the setting of a session
NUMBERED = ("runs", "classes", "sayings")  # their rows are numbered, in each hall from 1
HERE = f"NULLIF(current_setting('{SAID}', true), '')::bigint"

_NAMES = postgresql.dialect().identifier_preparer  # type: ignore[no-untyped-call]
_LAID_OUT = text(
    "SELECT relname FROM pg_class JOIN pg_attribute ON attrelid = pg_class.oid "
    f"WHERE attname = '{HALL}' AND relkind = 'r' AND pg_table_is_visible(pg_class.oid)"
)
_KEYS = text(
    "SELECT conname FROM pg_constraint WHERE conrelid = to_regclass(:name) "
    "AND contype IN ('f', 'p', 'u') ORDER BY contype"
)
_NEXT_ID = (
    "CREATE FUNCTION next_id(what text) RETURNS integer LANGUAGE sql "
    "AS $$ SELECT nextval((what || '_id_seq')::regclass)::integer $$"
)


def signed(number: str) -> int:
    """Return a hall's number in hex as a server keeps it."""
    bits = int(number, 16)
    return bits - (1 << 64) if bits >> 63 else bits


def in_hex(number: int) -> str:
    """Return a hall's number as everybody else has it."""
    return f"{number % (1 << 64):016x}"


def lay_out(conn: Connection) -> None:
    """Give each table that has none yet the hall's column, its keys and indexes; once for each."""
    if conn.dialect.name != "postgresql":
        return
    there = set(conn.scalars(_LAID_OUT))
    fresh = [table for table in tables.metadata.sorted_tables if table.name not in there]
    if not there:
        conn.exec_driver_sql(_NEXT_ID)
    for table in reversed(fresh):  # those that others point to come last
        for name in conn.scalars(_KEYS, {"name": _table(table)}).all():
            conn.exec_driver_sql(f"ALTER TABLE {_table(table)} DROP CONSTRAINT {name}")
    for table in fresh:
        for words in _laid_out(table):
            conn.exec_driver_sql(words)


def _laid_out(table: Table) -> Iterable[str]:
    name = _table(table)
    yield f"ALTER TABLE {name} ADD COLUMN {HALL} bigint NOT NULL DEFAULT 0"
    primary = f"CONSTRAINT {table.primary_key.name} PRIMARY KEY ({_columns(table.primary_key)})"
    yield f"ALTER TABLE {name} ADD {primary}"
    for key in table.constraints:
        if isinstance(key, UniqueConstraint):
            yield f"ALTER TABLE {name} ADD CONSTRAINT {key.name} UNIQUE ({_columns(key.columns)})"
    for to in table.foreign_key_constraints:
        theirs = _columns(one.column for one in to.elements)
        yield (
            f"ALTER TABLE {name} ADD CONSTRAINT {to.name} FOREIGN KEY ({_columns(to.columns)}) "
            f"REFERENCES {_table(to.referred_table)} ({theirs}) DEFERRABLE"
        )
    for index in table.indexes:
        yield f"DROP INDEX {index.name}"
        yield f"CREATE INDEX {index.name} ON {name} ({_columns(index.columns)})"
    if table.name in NUMBERED:
        yield f"ALTER TABLE {name} ALTER COLUMN id SET DEFAULT next_id('{table.name}')"


def _table(table: Table) -> str:
    return str(_NAMES.format_table(table))


def _columns(some: Iterable[Column[object]]) -> str:
    return ", ".join([HALL, *(str(_NAMES.format_column(column)) for column in some)])
