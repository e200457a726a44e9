"""How much a bundle may hold: more than a hall fills in ten years, not too much for a laptop."""

from __future__ import annotations

PACKED_MOST = UNPACKED_MOST = 512_000_000
LIST_MOST = 10_000_000  # bytes of its list; each takes up to twenty while it is checked
PARTS_MOST = 40_000
RUNS_MOST, TIMELINES_MOST, PLANS_MOST = 20_000, 20_000, 5_000
AMENDMENTS_MOST, WEARERS_MOST, HALLS_MOST = 30_000, 30_000, 1_000

LOG_MOST = 2_000_000  # bytes; the flash of a box holds no more
TIMELINE_MOST = 4_000_000  # of 65,535 spans and as many own tasks
PLAN_MOST = 1 << 20  # as of a plan's file
TEXT_MOST = 255  # of one text of a timeline: names, notes and lists of bibs are shorter
TASKS_MOST = 64_000  # what a timeline asks of its bibs, one for each bib and window
TIMELINE_MS_MOST = 7 * 86_400_000

# Bytes that it may put into a store: so many anyhow, and so many for each byte of the file.
GROWTH_FREE, GROWTH_RATIO = 16_000_000, 64
ROW_BYTES = 120  # what a row of tasks takes besides its words
LOG_GROWTH = 4  # a log's bytes, and those of the rows that are made of it
