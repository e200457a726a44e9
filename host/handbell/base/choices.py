"""What the command line lets one choose among; it imports nothing, so that help starts fast."""

from __future__ import annotations

PATTERNS = ("cardio", "squat", "hinge", "lunge", "push", "pull", "trunk", "carry")  # of exercises
REASONS = ("no-kit", "sore", "too-hard", "too-easy", "no-floor")  # for a swap
CSV, JSON, PARQUET, MONTHS, BUNDLE = "csv", "json", "parquet", "months", "bundle"
FORMS = (CSV, JSON, PARQUET, MONTHS, BUNDLE)  # of an export
SOLVE_SECONDS = 20.0  # how long to search for the order of a block, if nobody says otherwise
