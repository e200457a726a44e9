"""What takes a store's tables back to those of versions before, one statement each."""

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import PrimaryKeyConstraint, UniqueConstraint, text
from sqlalchemy.schema import AddConstraint, CreateIndex

from handbell.store.database import tables
from handbell.store.database.parts import HALL, NUMBERED


def without_parts(conn):
    """Take the halls out of a server's tables, as versions before 0016 had them."""
    if conn.dialect.name != "postgresql":
        return
    for table in tables.metadata.sorted_tables:
        conn.execute(text(f"ALTER TABLE {table.name} DROP COLUMN {HALL} CASCADE"))
        for key in table.constraints:
            if isinstance(key, PrimaryKeyConstraint | UniqueConstraint):
                conn.execute(AddConstraint(key))
        for index in table.indexes:
            conn.execute(CreateIndex(index))
    for table in tables.metadata.sorted_tables:
        for key in table.foreign_key_constraints:
            conn.execute(AddConstraint(key))
    for name in NUMBERED:
        default = f"nextval('{name}_id_seq')"
        conn.execute(text(f"ALTER TABLE {name} ALTER COLUMN id SET DEFAULT {default}"))
    conn.execute(text("DROP FUNCTION next_id"))


def differences(store):
    """What a store's tables have otherwise than the code, apart from the halls of a server."""
    with store.engine.connect() as conn:  # what is done here is undone at its end
        without_parts(conn)
        return compare_metadata(MigrationContext.configure(conn), tables.metadata)


BACK_TO_0013 = (
    "DROP INDEX ix_amendments_batch",
    "ALTER TABLE amendments DROP COLUMN batch",
    "ALTER TABLE classes DROP COLUMN group_name",
    "UPDATE wearers SET person = (SELECT name FROM persons p WHERE p.id = person)",
    "UPDATE wearers SET said = (SELECT name FROM persons p WHERE p.id = said) WHERE said <> ''",
    "ALTER TABLE wearers RENAME COLUMN person TO name",
    "UPDATE amendments SET value = (SELECT name FROM persons p WHERE p.id = value),"
    " was = coalesce((SELECT name FROM persons p WHERE p.id = was), '') WHERE what = 'name'",
    "CREATE TABLE named AS SELECT lower(p.name) AS key, p.name, a.bib, a.group_name"
    " FROM athletes a JOIN persons p ON p.id = a.person",
    "DROP TABLE athletes",
    "CREATE TABLE athletes (key TEXT NOT NULL, name TEXT NOT NULL, bib INTEGER,"
    " group_name TEXT NOT NULL, CONSTRAINT pk_athletes PRIMARY KEY (key))",
    "INSERT INTO athletes SELECT * FROM named",
    *(f"DROP TABLE {name}" for name in ("named", "persons", "person_notes")),
)
BACK_TO_0012 = (
    *BACK_TO_0013,
    "DROP TABLE halls",
    "DROP TABLE sayings",
    "ALTER TABLE runs DROP COLUMN hall",
)
BACK_TO_0011 = (
    *BACK_TO_0012,
    "DROP INDEX ix_runs_led_key",
    "ALTER TABLE contacts DROP COLUMN seq",
    *(f"ALTER TABLE runs DROP COLUMN {name}" for name in ("by_box_utc_us", "met_seq", "led_key")),
)
BACK_TO_0009 = (
    *BACK_TO_0011,
    *(f"ALTER TABLE runs DROP COLUMN {name}" for name in ("dated_utc_us", "dated_by")),
)
BACK_TO_0005 = (*BACK_TO_0009, "ALTER TABLE runs DROP COLUMN kept")
