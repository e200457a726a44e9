"""The fields of a plan's tables: each a type, its check, and what an editor is told of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import PlainValidator, WithJsonSchema

from handbell.plan.values import (
    BIB_MOST,
    NOTE_MOST,
    PAUSE_LEAST_MS,
    REP_MOST_MS,
    REPS_MOST,
    ROUNDS_MOST,
    TAP_WORDS,
    TIME_MOST_S,
    WINDOW_LEAST_MS,
    PerRound,
    Tap,
    bib_list,
    chosen,
    guided_ms,
    minutes_ms,
    name_text,
    note_text,
    own_reps,
    pause_ms,
    per_round,
    rep_ms,
    reps,
    tap_rule,
    whole,
    window_ms,
    yes_no,
)

Schema = dict[str, Any]


def _number(least: int, most: int) -> Schema:
    return {"type": "integer", "minimum": least, "maximum": most}


def _seconds(least_ms: int) -> Schema:
    return {"type": "number", "minimum": least_ms // 1000, "maximum": TIME_MOST_S}


def _each_or_list(one: Schema) -> Schema:
    return {"anyOf": [one, {"type": "array", "items": one, "minItems": 1}]}


def _whole(least: int, most: int) -> Callable[[object], int]:
    return lambda value: whole(value, least, most)


_TAP_SCHEMA: Schema = {
    "anyOf": [
        {"enum": list(TAP_WORDS)},
        {
            "type": "object",
            "properties": {"every": _number(2, 255)},
            "required": ["every"],
            "additionalProperties": False,
        },
    ]
}
_PAUSE_SCHEMA: Schema = {"anyOf": [{"const": 0}, _seconds(PAUSE_LEAST_MS)]}
_NAME_SCHEMA: Schema = {"type": "string", "minLength": 1}

WORK_SCHEMA: Schema = _seconds(WINDOW_LEAST_MS)
REP_SCHEMA: Schema = {"type": "number", "minimum": 0.1, "maximum": REP_MOST_MS // 1000}

Name = Annotated[str, PlainValidator(name_text), WithJsonSchema(_NAME_SCHEMA)]
MaybeName = Annotated[str | None, PlainValidator(name_text), WithJsonSchema(_NAME_SCHEMA)]
Note = Annotated[
    str, PlainValidator(note_text), WithJsonSchema({"type": "string", "maxLength": NOTE_MOST})
]
YesNo = Annotated[bool, PlainValidator(yes_no), WithJsonSchema({"type": "boolean"})]
Pause = Annotated[int, PlainValidator(pause_ms), WithJsonSchema(_PAUSE_SCHEMA)]
MaybePause = Annotated[int | None, PlainValidator(pause_ms), WithJsonSchema(_PAUSE_SCHEMA)]
MaybeGuided = Annotated[
    int | None, PlainValidator(guided_ms), WithJsonSchema(_seconds(PAUSE_LEAST_MS))
]
Guided = Annotated[int, PlainValidator(guided_ms), WithJsonSchema(_seconds(PAUSE_LEAST_MS))]
WindowTimes = Annotated[
    PerRound,
    PlainValidator(per_round(window_ms)),
    WithJsonSchema(_each_or_list(_seconds(WINDOW_LEAST_MS))),
]
_REPS_SCHEMA: Schema = _number(1, REPS_MOST)
MaybeReps = Annotated[
    PerRound | None, PlainValidator(per_round(reps)), WithJsonSchema(_each_or_list(_REPS_SCHEMA))
]
MaybeOwnReps = Annotated[
    PerRound | None,
    PlainValidator(per_round(own_reps)),
    WithJsonSchema(_each_or_list(_REPS_SCHEMA)),
]
MaybePartReps = Annotated[int | None, PlainValidator(reps), WithJsonSchema(_REPS_SCHEMA)]
Window = Annotated[int, PlainValidator(window_ms), WithJsonSchema(WORK_SCHEMA)]
Minutes = Annotated[
    int,
    PlainValidator(minutes_ms),
    WithJsonSchema({"type": "number", "exclusiveMinimum": 0, "maximum": TIME_MOST_S // 60}),
]
MaybeRepTime = Annotated[int | None, PlainValidator(rep_ms), WithJsonSchema(REP_SCHEMA)]
Count = Annotated[int, PlainValidator(_whole(1, REPS_MOST)), WithJsonSchema(_number(1, REPS_MOST))]
MaybeCount = Annotated[
    int | None, PlainValidator(_whole(1, REPS_MOST)), WithJsonSchema(_number(1, REPS_MOST))
]
MaybeTap = Annotated[Tap | None, PlainValidator(tap_rule), WithJsonSchema(_TAP_SCHEMA)]
Rounds = Annotated[
    int, PlainValidator(_whole(1, ROUNDS_MOST)), WithJsonSchema(_number(1, ROUNDS_MOST))
]
MaybeRounds = Annotated[
    int | None,
    PlainValidator(_whole(1, ROUNDS_MOST)),
    WithJsonSchema(_number(1, ROUNDS_MOST)),
]
GridSeconds = Annotated[int, PlainValidator(_whole(5, 300)), WithJsonSchema(_number(5, 300))]
CountSeconds = Annotated[int, PlainValidator(_whole(0, 10)), WithJsonSchema(_number(0, 10))]
Buttons = Annotated[int, PlainValidator(_whole(1, 4)), WithJsonSchema(_number(1, 4))]
MaybeBoxes = Annotated[int | None, PlainValidator(_whole(1, 99)), WithJsonSchema(_number(1, 99))]
Bibs = Annotated[
    tuple[int, ...],
    PlainValidator(bib_list),
    WithJsonSchema({"type": "array", "items": _number(1, BIB_MOST), "minItems": 1}),
]
Layout = Annotated[
    str,
    PlainValidator(chosen("lanes", "rotation")),
    WithJsonSchema({"enum": ["lanes", "rotation"]}),
]
WindowOrRound = Annotated[
    str, PlainValidator(chosen("window", "round")), WithJsonSchema({"enum": ["window", "round"]})
]
MaybeTurns = Annotated[
    str | None,
    PlainValidator(chosen("window", "round")),
    WithJsonSchema({"enum": ["window", "round"]}),
]
