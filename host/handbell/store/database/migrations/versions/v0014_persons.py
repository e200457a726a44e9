"""People apart from their names: each name of a hall becomes a person."""

from __future__ import annotations

from collections import Counter
from typing import Any

import sqlalchemy as sa
from alembic import op

from handbell.store.people.names import key_of
from handbell.store.people.people import new_id
from handbell.store.results.sayings import packed, unpacked

revision = "0014"
down_revision = "0013"

DIGEST = sa.String(24)
_WORN = ("name", "said")


def upgrade() -> None:
    """Add the tables, and put an id in each name's place.

    Where classes of several halls have a name, it is another person in each; those of no hall and
    the roster then have the one of the hall that has most.
    """
    conn = op.get_bind()
    names = _Names(conn)
    _tables()
    _worn(conn, names)
    _amended(conn, names)
    _kept(conn, names)
    _roster(conn, names)
    op.alter_column("wearers", "name", new_column_name="person")
    names.write()


class _Names:
    """The persons made of names, by the name's key and hall."""

    def __init__(self, conn: sa.Connection) -> None:
        self._conn = conn
        halls = sa.text("SELECT class_id, hall FROM runs WHERE hall IS NOT NULL")
        self._halls: dict[int, str] = {row.class_id: row.hall for row in conn.execute(halls)}
        self._most: dict[str, Counter[str]] = {}
        worn = sa.text("SELECT class_id, name FROM wearers WHERE name IS NOT NULL")
        for row in conn.execute(worn):
            if row.class_id in self._halls:
                hall = self._halls[row.class_id]
                self._most.setdefault(key_of(row.name), Counter())[hall] += 1
        self._made: dict[tuple[str, str | None], dict[str, Any]] = {}

    def id_of(self, name: str, class_id: int | None = None) -> str:
        """Return the person's id that a name meant in a class."""
        key = key_of(name)
        hall = self._halls.get(class_id or 0)
        if hall is None:
            most = self._most.get(key)
            hall = most.most_common(1)[0][0] if most else None
        row = {"id": new_id(), "name": name, "hall": hall, "number": len(self._made) + 1}
        return str(self._made.setdefault((key, hall), row)["id"])

    def write(self) -> None:
        """Write all persons."""
        put = sa.text(
            "INSERT INTO persons (id, name, hall, number) VALUES (:id, :name, :hall, :number)"
        )
        for row in self._made.values():
            self._conn.execute(put, row)


def _tables() -> None:
    op.create_table(
        "persons",
        sa.Column("id", DIGEST, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("hall", sa.String(16)),
        sa.Column("same", DIGEST),
        sa.Column("number", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_persons"),
    )
    op.create_index("ix_persons_same", "persons", ["same"])
    op.create_table(
        "person_notes",
        sa.Column("person", DIGEST, nullable=False),
        sa.Column("what", sa.String(40), nullable=False),
        sa.Column("until", sa.String(10)),
        sa.PrimaryKeyConstraint("person", "what", name="pk_person_notes"),
    )


def _worn(conn: sa.Connection, names: _Names) -> None:
    found = sa.text("SELECT class_id, bib, name, said FROM wearers ORDER BY class_id, bib")
    put = sa.text(
        "UPDATE wearers SET name = :name, said = :said WHERE class_id = :class_id AND bib = :bib"
    )
    for row in conn.execute(found).mappings().all():
        conn.execute(put, _with_ids(dict(row), names))


def _with_ids(row: dict[str, Any], names: _Names) -> dict[str, Any]:
    ids = {c: names.id_of(row[c], row["class_id"]) if row[c] else row[c] for c in _WORN}
    return row | ids


def _amended(conn: sa.Connection, names: _Names) -> None:
    found = sa.text(
        "SELECT a.digest, a.value, a.was, r.class_id FROM amendments a "
        "JOIN runs r ON r.id = a.run WHERE a.what = 'name' ORDER BY a.at_utc_us, a.digest"
    )
    put = sa.text("UPDATE amendments SET value = :value, was = :was WHERE digest = :digest")
    for row in conn.execute(found).mappings().all():
        ids = {c: names.id_of(row[c], row["class_id"]) if row[c] else "" for c in ("value", "was")}
        conn.execute(put, {"digest": row["digest"], **ids})


def _kept(conn: sa.Connection, names: _Names) -> None:
    """Put ids into the rows that sayings keep."""
    put = sa.text("UPDATE sayings SET kept = :kept WHERE id = :id")
    for row in conn.execute(sa.text("SELECT id, kept FROM sayings")).all():
        kept = unpacked(bytes(row.kept))
        if _swap(kept, names):
            conn.execute(put, {"id": row.id, "kept": packed(kept)})


def _swap(value: Any, names: _Names) -> bool:
    if isinstance(value, list):
        return sum(_swap(one, names) for one in value) > 0
    if not isinstance(value, dict):
        return False
    if {"class_id", "bib", "name", "said"} <= value.keys():
        row = _with_ids(value, names)
        value |= {"person": row["name"], "said": row["said"]}
        del value["name"]
        return True
    if value.get("what") == "name" and {"value", "was", "digest"} <= value.keys():
        value |= {c: names.id_of(value[c]) if value[c] else "" for c in ("value", "was")}
        return True
    return sum(_swap(one, names) for one in value.values()) > 0


def _roster(conn: sa.Connection, names: _Names) -> None:
    found = conn.execute(sa.text("SELECT name, bib, group_name FROM athletes ORDER BY key")).all()
    op.drop_table("athletes")
    op.create_table(
        "athletes",
        sa.Column("person", DIGEST, nullable=False),
        sa.Column("bib", sa.Integer),
        sa.Column("group_name", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("person", name="pk_athletes"),
    )
    put = sa.text("INSERT INTO athletes (person, bib, group_name) VALUES (:p, :bib, :group)")
    for row in found:
        conn.execute(put, {"p": names.id_of(row.name), "bib": row.bib, "group": row.group_name})
