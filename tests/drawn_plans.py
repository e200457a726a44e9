"""Whole plans drawn from a seed, of exercises that the library has: what fit and swap are tried on.

They have what coaches write: lanes and rotations, groups, lists by round, short forms, rests of
single exercises, taps of every kind, own tasks, and bounds for fit.
"""

import random
from collections.abc import Iterator

from made_plans import toml

from handbell.base.errors import PlanError
from handbell.coach.library.shelf import load_library
from handbell.compile import build
from handbell.plan.files import parse_plan

UNKNOWN = ("Sledge of ours", "Wheel walk")
FORMS = ("every-minute", "as-many-rounds", "under-a-cap", "ladder", "intervals", "relay")
TRIES = 60


def drawn(seed: int | str) -> str:
    """Return a sound plan's text."""
    for n in range(TRIES):
        text = toml(_Draw(random.Random(f"{seed}/{n}")).plan())
        try:
            build(parse_plan(text.encode(), "drawn.toml"))
        except PlanError:
            continue
        return text
    raise AssertionError(f"no sound plan in {TRIES} tries of seed {seed}")


def some(count: int, seed: int = 1) -> Iterator[tuple[str, str]]:
    """Yield so many plans, each with its name."""
    for n in range(count):
        yield f"{seed}-{n}", drawn(f"{seed}-{n}")


class _Draw:
    def __init__(self, dice: random.Random) -> None:
        self.dice = dice
        self.entries = list(load_library().entries.values())
        self.bibs: list[int] = []
        self.rotates = dice.random() < 0.25
        self.move = dice.choice(("window", "round"))

    def maybe(self, chance: float = 0.5) -> bool:
        return self.dice.random() < chance

    def plan(self) -> dict[str, object]:
        dice = self.dice
        made: dict[str, object] = {"title": "Drawn", "buttons": dice.randint(1, 3)}
        groups = dice.randint(2, 4) if self.rotates else dice.randint(0, 3)
        if self.rotates:
            made |= {"layout": "rotation", "move": self.move}
        for key in ("lead_in_s", "change_s", "break_s"):
            if self.maybe(0.4):
                made[key] = dice.choice((0, 10, 15, 30, 60))
        if self.maybe(0.2):
            made["fit"] = self.bounds()
        numbers = iter(dice.sample(range(1, 60), 20))
        made_groups = [
            {"name": f"G{n}", "bibs": [next(numbers) for _ in range(dice.randint(1, 4))]}
            for n in range(groups)
        ]
        self.bibs = [bib for group in made_groups for bib in group["bibs"]] or [1]
        if groups:
            made["group"] = made_groups
        for key in ("warm_up", "cool_down"):
            if self.maybe(0.6):
                made[key] = [{"name": "March", "work_s": dice.choice((60, 90, 120))}]
        made["block"] = [self.block(groups) for _ in range(dice.randint(1, 3))]
        return made

    def bounds(self) -> dict[str, object]:
        said = {"break_s": (10, 90), "rest_s": (3, 60), "work_s": (15, 60), "rounds": (1, 6)}
        keys = self.dice.sample(list(said), self.dice.randint(1, 2))
        return {key: sorted(self.dice.randint(*said[key]) for _ in range(2)) for key in keys}

    def block(self, groups: int) -> dict[str, object]:
        dice = self.dice
        form = dice.choice(FORMS) if not self.rotates and self.maybe(0.3) else None
        if form == "relay" and not groups:
            form = "intervals"
        made: dict[str, object] = {}
        if self.maybe(0.4):
            made["break_s"] = dice.choice((0, 20, 45, 60, 90))
        if self.maybe(0.2):
            made["gate"] = True
        if form:
            return made | {"format": form} | getattr(self, "_" + form.replace("-", "_"))()
        rounds = dice.randint(1, 5)
        made["rounds"] = rounds
        if self.maybe(0.7):
            made["rest_s"] = dice.choice((0, 5, 10, 15, 20, 30))
        if self.maybe(0.4):
            made["round_rest_s"] = dice.choice((10, 30, 60, 90))
        if made.get("rest_s") and self.maybe(0.3):
            made["rest_after_last"] = True
        alike = self.windows(rounds)
        tallied = made.get("rest_s", 0) >= 10 and made.get("rest_after_last") and self.maybe(0.3)
        count = groups if self.rotates else dice.randint(1, 4)
        made["exercise"] = [
            self.exercise(alike if self.rotates else self.windows(rounds), rounds, bool(tallied))
            for _ in range(count)
        ]
        if not self.rotates and not tallied and self.maybe(0.3):
            dice.choice(made["exercise"])["rest_s"] = dice.choice((0, 5, 25))
        return made

    def windows(self, rounds: int) -> object:
        if self.maybe(0.15):
            return [self.dice.choice((20, 30, 40, 45)) for _ in range(rounds)]
        return self.dice.choice((20, 25, 30, 30, 40, 40, 45, 60))

    def numbers(self, entry, work_s: object, rounds: int) -> object:
        """Draw reps near what the library thinks sensible, one a round now and then."""
        seconds = work_s[0] if isinstance(work_s, list) else work_s
        low, high = entry.reps_30s if entry else (4, 12)
        near = [
            max(1, round(self.dice.uniform(low * 0.4, high) * seconds / 30)) for _ in range(rounds)
        ]
        return near if self.maybe(0.15) else near[0]

    def exercise(self, work_s: object, rounds: int, tallied: bool) -> dict[str, object]:
        dice = self.dice
        if not tallied and self.maybe(0.08):
            parts = self._listed(2, reps=dice.randint(2, 8))
            key = dice.choice(("reps", "goal"))
            return {"name": "Both", "work_s": work_s, key: dice.randint(1, 9), "part": parts}
        entry = dice.choice(self.entries) if self.maybe(0.95) else None
        made: dict[str, object] = {"name": entry.name if entry else dice.choice(UNKNOWN)}
        made["work_s"] = work_s
        if entry and entry.is_hold and not tallied:
            made["hold"] = True
        else:
            key = dice.choice(("reps", "reps", "reps", "goal", ""))
            if key:
                made[key] = self.numbers(
                    entry if entry and entry.reps_30s else None, work_s, rounds
                )
            taps = [None, None, "each", {"every": dice.choice((2, 3, 5, 10))}, "none"]
            taps += ["finish"] * 2 if key == "reps" else []
            tap = "tally" if tallied else dice.choice(taps)
            if tap is not None:
                made["tap"] = tap
        if (entry and entry.sides == "one") or self.maybe(0.1):
            made["both_sides"] = True
        if self.maybe(0.25):
            made["scaled"] = self.own_tasks(work_s, rounds, made, tallied)
        return made

    def own_tasks(
        self, work_s: object, rounds: int, made: dict[str, object], tallied: bool
    ) -> list[dict[str, object]]:
        dice = self.dice
        free = dice.sample(self.bibs, len(self.bibs))
        own = []
        for _ in range(dice.randint(1, 2)):
            if not free:
                break
            bibs = [free.pop() for _ in range(min(len(free), dice.randint(1, 2)))]
            task: dict[str, object] = {"bibs": bibs}
            entry = dice.choice(self.entries)
            way = dice.choice(("name", "reps", "both", "tap"))
            if way in ("name", "both"):
                task["name"] = entry.name
            if entry.is_hold and way in ("name", "both") and not tallied:
                task["hold"] = True
            elif way != "name":
                asks = entry if entry.reps_30s else None
                task[dice.choice(("reps", "goal"))] = self.numbers(asks, work_s, rounds)
            if way == "tap" and not tallied:
                task["tap"] = {"every": dice.choice((2, 5))}
            own.append(task)
        return own

    # Short forms

    def _listed(self, count: int, **keys: object) -> list[dict[str, object]]:
        entries = [e for e in self.entries if e.reps_30s]
        return [{"name": self.dice.choice(entries).name, **keys} for _ in range(count)]

    def _every_minute(self) -> dict[str, object]:
        count = self.dice.randint(1, 3)
        made = self._listed(count)
        for one in made:
            if self.maybe():
                one["reps"] = self.dice.randint(4, 15)
            else:
                one["work_s"] = self.dice.choice((30, 40, 45))
        return {"minutes": count * self.dice.randint(1, 4), "exercise": made}

    def _as_many_rounds(self) -> dict[str, object]:
        made = {"name": "The list", "minutes": self.dice.choice((5, 8, 10))}
        if self.maybe():
            made["goal"] = self.dice.randint(3, 8)
        parts = self._listed(self.dice.randint(1, 4))
        for part in parts:
            part["reps"] = self.dice.randint(3, 20)
        if self.maybe(0.3):
            parts.append({"name": "Plank", "hold_s": 20})
        return made | {"exercise": parts}

    def _under_a_cap(self) -> dict[str, object]:
        made = self._as_many_rounds()
        made.pop("goal", None)
        return made | {"rounds": self.dice.randint(1, 4)}

    def _ladder(self) -> dict[str, object]:
        first, last = self.dice.choice(((2, 10), (10, 2), (4, 8), (1, 5)))
        made = {"from": first, "to": last, "by": 2 if first % 2 == 0 else 1}
        return made | {"exercise": self._listed(self.dice.randint(1, 3), work_s=40)}

    def _intervals(self) -> dict[str, object]:
        made = {"work_s": self.dice.choice((20, 30, 40)), "rest_s": self.dice.choice((10, 20))}
        return made | {"rounds": self.dice.randint(2, 6), "exercise": self._listed(2)}

    def _relay(self) -> dict[str, object]:
        made = {"leg_s": self.dice.choice((20, 30)), "legs": 2 * self.dice.randint(2, 4)}
        return made | {"rest_s": 5, "exercise": self._listed(2)}
