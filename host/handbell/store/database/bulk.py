"""Many rows at once, by the quickest way that each database has."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Table
from sqlalchemy.dialects.postgresql import insert as insert_postgresql
from sqlalchemy.dialects.sqlite import insert as insert_sqlite

from .parts import HALL

Values = tuple[Any, ...]


def insert_rows(
    conn: Connection, into: Table, rows: Sequence[Values], run: int | None = None
) -> None:
    """Insert rows whose values are in the order of the table's columns.

    With ``run`` they come without their first column, which is that for all. Ten times as quick
    for taps as SQLAlchemy's own way, which makes a dictionary of each row.
    """
    if not rows:
        return
    prepare = conn.dialect.identifier_preparer
    columns = ", ".join(prepare.format_column(c) for c in into.columns)
    target = f"{prepare.format_table(into)} ({columns})"
    if conn.dialect.name == "postgresql":  # COPY FROM is none for rows that a policy looks at
        lists = into.columns[len(into.columns) - len(rows[0]) :]
        kinds = [f"%s::{c.type.compile(conn.dialect)}[]" for c in lists]
        first = "" if run is None else f"{int(run)}, "
        given = f"unnest({', '.join(kinds)}) AS given"
        words = f"INSERT INTO {target} SELECT {first}given.* FROM {given}"
        conn.exec_driver_sql(words, tuple(map(_as_array, zip(*rows, strict=True))))
    else:
        marks = ["?"] * len(into.columns)
        if run is not None:
            marks[0] = str(int(run))
        conn.exec_driver_sql(f"INSERT INTO {target} VALUES ({', '.join(marks)})", list(rows))


def _as_array(values: Values) -> str:
    """Return values as PostgreSQL writes an array: quicker than the driver does it."""
    numbers = set(map(type, values)) <= {int, float}
    return "{" + ",".join(map(repr if numbers else _as_element, values)) + "}"


def _as_element(value: Any) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, bytes):
        return f'"\\\\x{value.hex()}"'
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    return repr(value)


def insert_if_absent(conn: Connection, into: Table, row: dict[str, Any]) -> bool:
    """Insert a row unless one with its primary key is there; return whether it was new.

    Another writer that is quicker is waited for.
    """
    statement = _insert(conn)(into).values(row).on_conflict_do_nothing()
    return conn.execute(statement.returning(*into.primary_key)).first() is not None


def put_row(conn: Connection, into: Table, row: dict[str, Any]) -> None:
    """Insert a row, or replace the one with its primary key."""
    keys = [c.name for c in into.primary_key]
    rest = {name: value for name, value in row.items() if name not in keys}
    if conn.dialect.name == "postgresql":
        keys.insert(0, HALL)
    statement = _insert(conn)(into).values(row)
    conn.execute(statement.on_conflict_do_update(index_elements=keys, set_=rest))


def _insert(conn: Connection) -> Any:
    by_dialect = {"postgresql": insert_postgresql, "sqlite": insert_sqlite}
    return by_dialect[conn.dialect.name]
