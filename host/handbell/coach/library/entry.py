"""One exercise of the library, and the head of a coach's own file, as pydantic models."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, model_validator

from handbell.base.choices import PATTERNS
from handbell.base.words import listed
from handbell.plan.fields import Name, Note, YesNo
from handbell.plan.values import REPS_MOST, TAP_WORDS, shown, whole

from .loads import FROM_DOING, LOADS, follows
from .names import name_key

SPACES = ("spot", "mat", "wide", "lane")  # least floor first
IMPACTS = ("none", "low", "high")
SIDES = ("both", "alternate", "one")
POSITIONS = ("standing", "seated", "hanging", "floor")
TAPS = (*TAP_WORDS, "every")
TIRES = (
    *("quads", "glutes", "hamstrings", "calves", "hip flexors"),
    *("chest", "shoulders", "triceps", "upper back", "biceps", "grip"),
    *("abs", "obliques", "lower back"),
)
LEVEL_MOST = 5
ANYTHING = "any"

_EXAMPLES = {
    "id": 'id = "towel-row"',
    "name": 'name = "Towel row"',
    "pattern": 'pattern = "pull"',
    "level": "level = 2",
    "kit": "kit = [] for none",
    "space": 'space = "spot"',
    "impact": 'impact = "none"',
    "sides": 'sides = "both"',
    "position": 'position = "standing"',
    "taps": 'taps = ["each", "finish"]',
}


def _chosen(words: tuple[str, ...]) -> Callable[[object], str]:
    def check(value: object) -> str:
        if not isinstance(value, str) or value not in words:
            raise ValueError(f"{shown(value)} isn't allowed here; write {_quoted(words)}")
        return value

    return check


def _quoted(words: tuple[str, ...]) -> str:
    return listed([f'"{word}"' for word in words], "or")


def _each(one: Callable[[object], Any], example: str) -> Callable[[object], tuple[Any, ...]]:
    def check(value: object) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise ValueError(f"{shown(value)} is no list; write {example}")
        return tuple(one(entry) for entry in value)

    return check


def _id(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", value):
        raise ValueError(f'{shown(value)} is no id; write small letters and hyphens, "towel-row"')
    return value


def _text(value: object) -> str:
    if not isinstance(value, str) or not name_key(value):
        raise ValueError(f'{shown(value)} is no text; write it in quotes, such as "towel"')
    return " ".join(value.split())


def _need(value: object) -> tuple[str, ...]:
    if isinstance(value, list) and value:
        return tuple(_text(item) for item in value)
    return (_text(value),)


def _range(value: object) -> tuple[int, int]:
    if not isinstance(value, list) or len(value) != 2:
        raise ValueError(f"{shown(value)} is no range; write the least and the most, [8, 14]")
    least, most = (whole(number, 1, REPS_MOST) for number in value)
    if least > most:
        raise ValueError(f"{least} is more than {most}; write the least first")
    return least, most


def _slot(value: object) -> tuple[str, ...]:
    words = tuple(_text(value).split(" or "))
    for word in words:
        if word not in (*PATTERNS, ANYTHING):
            raise ValueError(
                f"{shown(value)} is no place of a format; write patterns with or between them, "
                f'"push or pull", of {listed((*PATTERNS, ANYTHING), "or")}'
            )
    return words


def _words(words: tuple[str, ...]) -> PlainValidator:
    return PlainValidator(_each(_chosen(words), f'["{words[0]}"]'))


_Ids = Annotated[tuple[str, ...], PlainValidator(_each(_id, '["push-up"]'))]
_Kit = Annotated[tuple[str, ...], PlainValidator(_each(_text, '["bench", "dumbbells"]'))]
_Range = Annotated[tuple[int, int] | None, PlainValidator(_range)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Entry(_Table):
    """An exercise of the library; ``docs/engineers/exercises.md`` says what each key means."""

    id: Annotated[str, PlainValidator(_id)]
    name: Name
    aliases: Annotated[tuple[str, ...], PlainValidator(_each(_text, '["Press-up"]'))] = ()
    pattern: Annotated[str, PlainValidator(_chosen(PATTERNS))]
    also: Annotated[tuple[str, ...], _words(PATTERNS)] = ()
    level: Annotated[int, PlainValidator(lambda value: whole(value, 1, LEVEL_MOST))]
    how: Note = ""
    # Every need is met by any one of its items.
    kit: Annotated[tuple[tuple[str, ...], ...], PlainValidator(_each(_need, '["bench"]'))]
    space: Annotated[str, PlainValidator(_chosen(SPACES))]
    impact: Annotated[str, PlainValidator(_chosen(IMPACTS))]
    # Hard landings in a rep, with high impact: a jump has one, a way of a run each step.
    landings: Annotated[int, PlainValidator(lambda value: whole(value, 1, REPS_MOST))] = 1
    sides: Annotated[str, PlainValidator(_chosen(SIDES))]
    position: Annotated[str, PlainValidator(_chosen(POSITIONS))]
    reps_30s: _Range = None
    hold_s: _Range = None
    taps: Annotated[tuple[str, ...], _words(TAPS)]
    tires: Annotated[tuple[str, ...], _words(TIRES)] = ()
    does: Annotated[tuple[str, ...], _words(tuple(FROM_DOING))] = ()
    loads: Annotated[tuple[str, ...], _words(LOADS)] = ()  # besides those that follow: see bears
    skill: YesNo = False
    easier: _Ids = ()
    harder: _Ids = ()
    lever: Note = ""
    cautions: Note = ""

    @property
    def is_hold(self) -> bool:
        """Whether a position is kept."""
        return self.hold_s is not None

    @property
    def patterns(self) -> tuple[str, ...]:
        """Its pattern, then those it may serve as."""
        return (self.pattern, *self.also)

    @property
    def bears(self) -> tuple[str, ...]:
        """Every part known to bear load: what follows from the exercise, and ``loads``."""
        found = {*follows(self.does, self.impact, self.tires), *self.loads}
        return tuple(part for part in LOADS if part in found)

    @property
    def landings_most(self) -> int:
        """How many hard landings 30 s have at most; 0 where none is hard, or it is a hold."""
        if self.impact != "high" or self.reps_30s is None:
            return 0
        return self.landings * self.reps_30s[1]

    @property
    def loads_known(self) -> bool:
        """Whether it is written what bears load; else ``bears`` may lack anything."""
        return not self.model_fields_set.isdisjoint(("does", "loads"))

    @property
    def names(self) -> tuple[str, ...]:
        """Everything it is called."""
        return (self.name, *self.aliases, self.id)

    @property
    def kit_words(self) -> str:
        """The kit as people read it."""
        return needs_words(self.kit) or "no kit"

    @model_validator(mode="after")
    def _agrees(self) -> Entry:
        if (self.reps_30s is None) == (self.hold_s is None):
            raise ValueError(
                "one of reps_30s and hold_s must be there, and not both; "
                "write reps_30s = [8, 14], or hold_s = [20, 30] for a position that is kept"
            )
        wrong = set(self.taps) - {"drop", "none"} if self.is_hold else set(self.taps) & {"drop"}
        if wrong:
            fits = "a hold taps as" if self.is_hold else "only a hold taps as"
            raise ValueError(f'taps: {", ".join(sorted(wrong))} can\'t be; {fits} "drop"')
        return self


class OwnFile(_Table):
    """What a file of exercises may say besides the exercises themselves."""

    format: Annotated[
        tuple[tuple[str, ...], ...],
        PlainValidator(_each(_slot, '["cardio", "push or pull", "trunk"]')),
    ] = ()
    kit: _Kit | None = None
    exercise: list[dict[str, Any]] = Field(default_factory=list)


def needs_words(needs: Iterable[tuple[str, ...]]) -> str:
    """Return needs for kit as people read them: ``bench or box, and dumbbells``."""
    return ", and ".join(listed(need, "or") for need in needs)


def missing(key: str) -> str:
    """Return how to write a key that is not there."""
    return f"{key} is missing; write {_EXAMPLES[key]}"
