"""What takes a store's tables back to those of versions before, one statement each."""

BACK_TO_0012 = (
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
