"""The keys and tables a plan may have, by what stands after them."""

from __future__ import annotations

TEXTS = {"title", "name", "label", "note", "circuit", "layout", "format", "move", "turns"}
YES_NO = {
    *("gate", "relay", "hand_over", "hold", "both_sides", "rate", "silent", "back"),
    *("rest_after_last", "out"),
}
SECONDS = {
    "lead_in_s",
    "break_s",
    "change_s",
    "rest_s",
    "round_rest_s",
    "work_s",
    "every_s",
    "leg_s",
    "hold_s",
    "rep_s",
    "count_s",
    "grid_s",
    "guided_s",
}
NUMBERS = {
    "boxes",
    "buttons",
    "minutes",
    "rounds",
    "reps",
    "goal",
    "legs",
    "from",
    "to",
    "by",
    "capacity",
    "every",
}
LISTS = {"at", "bibs", "keep", "alternate", "never_after", "order"}
OTHERS = {"tap", "kit"}
KEYS = TEXTS | YES_NO | SECONDS | NUMBERS | LISTS | OTHERS
# Each key with a value that is right there, for one that was left empty.
EXAMPLES = {
    **dict.fromkeys(TEXTS, '"Push-up"'),
    **dict.fromkeys(YES_NO, "true"),
    **dict.fromkeys(SECONDS, "30"),
    **dict.fromkeys(NUMBERS, "3"),
    "title": '"Monday class"',
    "layout": '"lanes"',
    "move": '"window"',
    "turns": '"window"',
    "format": '"every-minute"',
    "count_s": "3",
    "rep_s": "3",
    "at": "[0, 4.5]",
    "bibs": "[1, 2]",
    "keep": '["breaks"]',
    "tap": '"each"',
    "kit": '["mat"]',
}
ONE_TABLE = "fit"
COUNTED_KIT = "kit"  # a table, too; its keys are names of kit
TABLES = (
    "block",
    "block.exercise",
    "block.exercise.scaled",
    "block.exercise.part",
    "group",
    "station",
    "warm_up",
    "practice",
    "cool_down",
    ONE_TABLE,
)


def heading(name: str) -> str:
    """Return a table's heading as it must stand."""
    return f"[{name}]" if name == ONE_TABLE else f"[[{name}]]"


def table_of(words: str) -> str:
    """Return the table that a heading means, "" for none: ``block exercise``, ``Warm-up``."""
    name = ".".join(words.replace("/", " ").replace(",", " ").replace(".", " ").lower().split())
    name = name.replace("-", "_").replace("warm.up", "warm_up").replace("cool.down", "cool_down")
    for found in TABLES:
        if name in (found, f"{found}s", found.rpartition(".")[2]):
            return found
    return ""


def key_of(words: str) -> str:
    """Return the key that words mean, "" for none: ``work s``, ``Work_S``."""
    name = "_".join(words.strip(" .\"'").replace("-", " ").replace("_", " ").lower().split())
    return name if name in KEYS else ""
