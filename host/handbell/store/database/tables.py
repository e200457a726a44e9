"""The store's tables, as the code uses them; the migrations beside this file build them.

Digests are the first 12 bytes of a SHA-256 in hex. Times are integers: ``utc_us`` since 1970,
``class_ms`` since the class start.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

VERSION = "0016"  # the newest migration; a store that says less is brought up to it

DIGEST = String(24)

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ix": "ix_%(table_name)s_%(column_0_name)s",
    }
)

plans = Table(
    "plans",
    metadata,
    Column("digest", DIGEST, primary_key=True),
    Column("title", Text, nullable=False),
    Column("source", Text),  # NULL: known only from a timeline
    Column("altered", Boolean, nullable=False, default=False),  # a name was taken out of it
)

timelines = Table(
    "timelines",
    metadata,
    Column("digest", DIGEST, primary_key=True),
    Column("plan", DIGEST, ForeignKey("plans.digest"), nullable=False),
    Column("station", Integer, nullable=False),
    Column("label", Text, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("altered", Boolean, nullable=False, default=False),  # a name was taken out of it
)

# What a bib was asked for in a window, as its timeline says: the timeline's bytes for queries.
tasks = Table(
    "tasks",
    metadata,
    Column("timeline", DIGEST, ForeignKey("timelines.digest"), primary_key=True),
    Column("window", Integer, primary_key=True),
    Column("slot", Integer, primary_key=True),
    Column("bib", Integer, nullable=False),
    Column("start_ms", Integer, nullable=False),
    Column("end_ms", Integer, nullable=False),
    Column("block", Integer, nullable=False),
    Column("round", Integer, nullable=False),
    Column("item", Integer, nullable=False),
    Column("ask", Integer, nullable=False),
    Column("tap", Integer, nullable=False),
    Column("every", Integer, nullable=False),
    Column("goal", Integer, nullable=False),
    Column("both_sides", Boolean, nullable=False),
    Column("name", Text, nullable=False),
    Column("who", Text, nullable=False),
)

boxes = Table(
    "boxes",
    metadata,
    Column("box_id", String(32), primary_key=True),
    Column("label", Text, nullable=False),
    Column("station", Integer, nullable=False),
    Column("seen_utc_us", BigInteger, nullable=False),
)

contacts = Table(
    "contacts",
    metadata,
    Column("box_id", String(32), primary_key=True),
    Column("boot", Integer, primary_key=True),
    Column("box_us", BigInteger, primary_key=True),
    Column("utc_us", BigInteger, primary_key=True),  # a boot's number comes again in time
    Column("bound_us", BigInteger, nullable=False),
    Column("ahead_us", BigInteger, nullable=False),  # wall clock minus monotonic clock
    Column("what", String(12), nullable=False),  # the command
    Column("seq", Integer),  # in which order they came in, whatever the computer's clock said
    Index("ix_contacts_box_id", "box_id", "utc_us"),
)

classes = Table(
    "classes",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("plan", DIGEST, ForeignKey("plans.digest"), nullable=False),
    Column("start_utc_us", BigInteger),  # NULL: no box of it had a clock
    Column("started_by", String(8), nullable=False),
    Column("collected_utc_us", BigInteger, nullable=False),  # when its first log came in
    Column("group_name", Text),  # the group on the roster that it was given to; NULL: nobody said
    Index("ix_classes_plan", "plan"),
)

runs = Table(
    "runs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("digest", DIGEST, nullable=False),
    Column("timeline", DIGEST, ForeignKey("timelines.digest"), nullable=False),
    Column("box_id", String(32), nullable=False),
    Column("station", Integer, nullable=False),
    Column("class_id", Integer, ForeignKey("classes.id")),  # NULL: armed but never started
    Column("state", String(8), nullable=False),
    Column("reason", Text, nullable=False),
    Column("clock", String(8), nullable=False),
    Column("start_utc_us", BigInteger),
    Column("started_by", String(8), nullable=False),
    Column("stopped", Boolean, nullable=False),
    Column("end_class_ms", Integer, nullable=False),  # the last that the journal knows of
    Column("late_cues", Integer, nullable=False),
    Column("worst_late_us", BigInteger, nullable=False),
    Column("broken", Integer, nullable=False),
    Column("battery_mv", Integer),
    Column("bound_us", BigInteger),  # largest error of the clock's offset
    Column("collected_utc_us", BigInteger, nullable=False),
    Column("journal", LargeBinary, nullable=False),
    Column("boot", Integer),  # which of the box's starts; all NULL when the clock was lost
    Column("origin_utc_us", BigInteger),  # where the clock that it went by was set,
    Column("origin_box_us", BigInteger),  # the same on the box's own clock
    Column("start_box_us", BigInteger),  # NULL: in another boot
    Column("end_box_us", BigInteger),
    Column("end_utc_us", BigInteger),  # as the box had it
    # Runs of different origin are never one class; NULL: collected here, or by boxes known here.
    Column("origin", DIGEST),
    Column("filed", DIGEST),  # runs with the same one are one class; NULL: by rule
    # Filed by an import, so that a class stays as it was there or here; no coach said so.
    Column("kept", Boolean, nullable=False, default=False),
    # When it began where its log does not tell, or tells it wrong, and who says so: box or hand.
    # It stands in start_utc_us then.
    Column("dated_utc_us", BigInteger),
    Column("dated_by", String(8)),
    Column("by_box_utc_us", BigInteger),  # by its box's clock, also where a coach says otherwise
    Column("met_seq", Integer),  # the last contact before it was collected here
    Column("led_key", String(16)),  # runs that a remote led by one arming have the same
    Column("hall", String(16)),  # as its timeline tells; those of two halls are never one class
    UniqueConstraint("digest", name="uq_runs_digest"),
    Index("ix_runs_class_id", "class_id"),
    Index("ix_runs_box_id", "box_id", "station"),
    Index("ix_runs_led_key", "led_key"),
)

# Taps, results and sums have no foreign key: a server checks that for every single row, and they
# are only ever written in one transaction with their run.
taps = Table(
    "taps",
    metadata,
    Column("run", Integer, primary_key=True),
    Column("seq", Integer, primary_key=True),  # the order in the journal
    Column("kind", String(8), nullable=False),
    Column("slot", Integer, nullable=False),
    Column("bib", Integer, nullable=False),
    Column("window", Integer, nullable=False),
    Column("class_ms", Integer, nullable=False),
    Column("held_ms", Integer, nullable=False),
    Column("flags", Integer, nullable=False),  # the journal's, and from 256 on that of logs/acts
    Column("stands", Boolean, nullable=False),  # it counted, was not taken back, and still holds
    sqlite_with_rowid=False,  # half the bytes to write
)

results = Table(
    "results",
    metadata,
    Column("run", Integer, primary_key=True),
    Column("window", Integer, primary_key=True),
    Column("slot", Integer, primary_key=True),
    Column("bib", Integer, nullable=False),
    Column("reps", Integer, nullable=False),
    Column("made_ms", Integer, nullable=False),
    Column("held_ds", Integer, nullable=False),
    Column("flags", Integer, nullable=False),  # the journal's; from 256 on those of logs/acts
    Column("box_reps", Integer),  # NULL: the box told no result
    Column("standing", String(8), nullable=False),
    Column("median_gap_ms", Float),  # from rep to rep; all NULL where fewer than three taps tell
    Column("best_gap_ms", Float),
    Column("worst_gap_ms", Float),
    Column("amended", DIGEST),  # the amendment in force; NULL: as counted
)

# What one bib's rounds of one exercise come to in a run, made of results and tasks, so that months
# are read in a second; ``window`` and ``slot`` are those of the first round, as in tasks.
sums = Table(
    "sums",
    metadata,
    Column("run", Integer, primary_key=True),
    Column("window", Integer, primary_key=True),
    Column("slot", Integer, primary_key=True),
    Column("bib", Integer, nullable=False),
    Column("asked", LargeBinary, nullable=False),  # by round: start_ms, round, length_ms, goal
    Column("read", Integer, nullable=False),
    Column("pressed", Integer, nullable=False),
    Column("judged", Integer, nullable=False),
    Column("made", Integer, nullable=False),
    Column("reps", Integer, nullable=False),
    Column("timed", Integer, nullable=False),
    Column("earned_rest_ms", Integer, nullable=False),
    Column("held_ms", Integer, nullable=False),
    Column("rates", Integer, nullable=False),
    Column("rate_sum", Float, nullable=False),
)

# What a coach corrected afterwards. Results, sums, taps and wearers hold what is in force; the
# journal, ``was`` and ``wearers.said`` hold what was before.
amendments = Table(
    "amendments",
    metadata,
    Column("digest", DIGEST, primary_key=True),
    Column("run", Integer, ForeignKey("runs.id"), nullable=False),
    Column("window", Integer, nullable=False),  # 0: of the whole class
    Column("slot", Integer, nullable=False),
    Column("bib", Integer, nullable=False),  # who was taken to be there
    Column("what", String(8), nullable=False),
    Column("value", Text, nullable=False),
    Column("was", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("at_utc_us", BigInteger, nullable=False),
    Column("undone_utc_us", BigInteger),  # NULL: in force
    Column("undone_by", Text),
    Column("batch", DIGEST, nullable=False),  # those of one saying: the least digest of them
    Index("ix_amendments_run", "run"),
    Index("ix_amendments_batch", "batch"),
)

ratings = Table(
    "ratings",
    metadata,
    Column("run", Integer, ForeignKey("runs.id"), primary_key=True),
    Column("bib", Integer, primary_key=True),
    Column("rating", Integer, nullable=False),
)

notes = Table(
    "notes",
    metadata,
    Column("run", Integer, ForeignKey("runs.id"), primary_key=True),
    Column("seq", Integer, primary_key=True),
    Column("class_ms", Integer, nullable=False),
    Column("fault", Integer, nullable=False),  # 0: found by the host, said in words
    Column("value", Integer, nullable=False),
    Column("words", Text, nullable=False),
)

# Everybody; names are nowhere else. See store/people/people.
persons = Table(
    "persons",
    metadata,
    Column("id", DIGEST, primary_key=True),  # drawn at random
    Column("name", Text, nullable=False),
    Column("hall", String(16)),  # NULL: none that is known
    Column("same", DIGEST),  # the person that it is, where two records were one; NULL: itself
    Column("number", Integer, nullable=False),  # the order in which they came
    Index("ix_persons_same", "same"),
)

# What a coach noted of a person: what is sore, or BEGINNER. It leaves this store in no way.
person_notes = Table(
    "person_notes",
    metadata,
    Column("person", DIGEST, primary_key=True),
    Column("what", String(40), primary_key=True),
    Column("until", String(10)),  # the last day, as ISO 8601; NULL: until it is taken away
)

wearers = Table(
    "wearers",
    metadata,
    Column("class_id", Integer, ForeignKey("classes.id"), primary_key=True),
    Column("bib", Integer, primary_key=True),
    Column("person", Text),
    Column("absent", Boolean, nullable=False),
    Column("said", Text),  # the person before it was amended; "": one that was forgotten
    Column("amended", DIGEST),  # the amendment in force; NULL: as said
    Column("logs", Text),  # digests of the logs that it was said of; NULL: all of the class
)

halls = Table(
    "halls",
    metadata,
    Column("number", String(16), primary_key=True),  # in hex
    Column("name", Text, nullable=False),  # as its coach calls it; "": not yet
)

athletes = Table(
    "athletes",
    metadata,
    Column("person", DIGEST, primary_key=True),
    Column("bib", Integer),  # the one usually worn
    Column("group_name", Text, nullable=False),
)

# What a coach said of classes: join, apart, date, delete; see store/results/sayings.
sayings = Table(
    "sayings",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("what", String(8), nullable=False),
    Column("class_id", Integer, nullable=False),  # the class may be gone
    Column("at_utc_us", BigInteger, nullable=False),
    Column("undone", Boolean, nullable=False),
    Column("kept", LargeBinary, nullable=False),  # the rows that it changed, before and after
)

unread = Table(
    "unread",
    metadata,
    Column("digest", DIGEST, primary_key=True),
    Column("box_id", String(32), nullable=False),
    Column("collected_utc_us", BigInteger, nullable=False),
    Column("reason", Text, nullable=False),
    Column("journal", LargeBinary, nullable=False),
)
