"""What takes a store's tables back to those of versions before, one statement each."""

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
