"""The thresholds of advice: those shipped in ``advice.toml``, and the coach's own over them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from handbell.base import toml
from handbell.base.errors import HandbellError, PlanError
from handbell.base.places import data_folder

OWN_FILE = "advice.toml"
SHIPPED = Path(__file__).with_name(OWN_FILE)

_Classes = Annotated[int, Field(strict=True, ge=1, le=50)]
_Reps = Annotated[int, Field(strict=True, ge=1, le=1000)]
_Percent = Annotated[float, Field(ge=0, le=100)]
_Rating = Annotated[int, Field(strict=True, ge=0, le=10)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class TwoForTwo(_Table):
    """Open windows with a goal, harder."""

    classes: _Classes
    reps_over: _Reps


class ShortOfGoal(_Table):
    """Open windows with a goal, easier."""

    classes: _Classes
    reps_under: _Reps


class EarnedRest(_Table):
    """Targets, harder."""

    classes: _Classes
    rest_percent: _Percent
    rest_percent_unrated: _Percent
    rating_most: _Rating


class Missed(_Table):
    """Targets, easier."""

    classes: _Classes
    made_percent: _Percent


class Faded(_Table):
    """Targets, easier in the late rounds."""

    classes: _Classes
    short_percent: _Percent


class Held(_Table):
    """Positions, both ways."""

    classes: _Classes
    rating_most: _Rating
    kept_percent: _Percent


class HeldBack(_Table):
    """Little done and called easy."""

    rating_most: _Rating


class Skipped(_Table):
    """Windows taken out by hand."""

    classes: _Classes


class Flat(_Table):
    """The same numbers for long."""

    classes: Annotated[int, Field(strict=True, ge=5, le=200)]
    weeks: Annotated[int, Field(strict=True, ge=1, le=26)]
    change_percent: _Percent


class Step(_Table):
    """How big a change is."""

    percent: Annotated[float, Field(gt=0, le=50)]


class Everybody(_Table):
    """When the plan changes for all."""

    harder_percent: _Percent
    easier_percent: _Percent
    people: _Reps


class Limits(_Table):
    """Every threshold; ``advice.toml`` beside this file says what each is for."""

    two_for_two: TwoForTwo
    short_of_goal: ShortOfGoal
    earned_rest: EarnedRest
    missed: Missed
    faded: Faded
    held: Held
    held_back: HeldBack
    skipped: Skipped
    flat: Flat
    step: Step
    everybody: Everybody


def load_limits(own: Path | None = None) -> Limits:
    """Return the thresholds with the coach's own file over them.

    Without ``own``, ``advice.toml`` in the data folder is used if it is there. Raises PlanError
    with every fault of the file, HandbellError when it can't be read.
    """
    if own is None:
        usual = data_folder() / OWN_FILE
        own = usual if usual.is_file() else None
    tables = _document(SHIPPED)
    for key, table in (_document(own) if own else {}).items():
        known = tables.get(key)
        both = isinstance(known, dict) and isinstance(table, dict)
        tables[key] = dict(known or {}, **table) if both else table
    try:
        return Limits.model_validate(tables)
    except ValidationError as error:
        raise PlanError(str(own), [_sentence(part) for part in error.errors()]) from None


def _document(path: Path) -> dict[str, Any]:
    try:
        return toml.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise HandbellError(
            f"{path} can't be read ({error.strerror or error})", "Check the name of --thresholds"
        ) from None
    except (ValueError, RecursionError) as error:  # not UTF-8, not TOML, a number too long
        raise HandbellError(
            f"{path} is no TOML text ({error})", "Write [tables] with key = number below them"
        ) from None


def _sentence(part: Any) -> str:
    place = ", ".join(str(step) for step in part["loc"])
    if part["type"] == "extra_forbidden":
        table = getattr(Limits.model_fields.get(str(part["loc"][0])), "annotation", None)
        known = table.model_fields if table and len(part["loc"]) > 1 else Limits.model_fields
        return f"{place}: nothing is called so here; known are {', '.join(known)}"
    what = part["msg"].replace("Input should be", "it should be")
    return f"{place}: {what}; the shipped file shows each key with a number that fits"
