"""One chart for each exercise: a strip of bars for each person, a bar for each round.

Drawn by matplotlib as SVG and then made fit for standing inside a page: text stays text, ids are
the chart's own, colours are named so that the page's light and dark styles set them.
"""

from __future__ import annotations

import html
import io
import re
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .model import Cell, ExerciseTable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 4.3
STRIP_IN = 0.52
NAME_LONGEST = 13
NUMBERED_ROUNDS = 12  # more bars than this leave no room for numbers on them

# Colours that stand for names in the page's style sheet, and what each turns into.
INK, SOFT, MADE, MISSED, PAPER = "#010101", "#020202", "#030303", "#040404", "#050505"
_VARIABLES = {INK: "ink", SOFT: "soft", MADE: "bar", MISSED: "missed", PAPER: "card"}


@dataclass(frozen=True)
class Bar:
    """One round's bar: ``value`` None draws none; ``made`` None is neither made nor missed."""

    round: int
    value: float | None
    label: str
    made: bool | None


@dataclass(frozen=True)
class Chart:
    """A chart's SVG with the words that explain it."""

    svg: str
    caption: str


def chart_of(table: ExerciseTable, key: str) -> Chart | None:
    """Draw an exercise; ``key`` makes its ids unique in the page. None: nothing to draw."""
    shows, bar_of = _measure(table)
    strips = [(row.name, [bar_of(cell) for cell in row.cells]) for row in table.rows]
    if not any(bar.value is not None for _, bars in strips for bar in bars):
        return None
    goal = table.goals[0] if shows == "reps" and len(table.goals) == 1 else 0
    title = f"{table.name}: {shows} by round"
    svg = _inline(_draw(strips, goal), key, title, "The table beside it holds the same numbers.")
    return Chart(svg, _caption(shows, goal, strips))


def _measure(table: ExerciseTable) -> tuple[str, Any]:
    if table.ask == "hold":
        return "seconds held", _held
    judged = [c for row in table.rows for c in row.cells if c.made is not None]
    timed = [c for c in judged if c.earned_rest_ms is not None]
    if timed and (table.tap == "finish" or 2 * len(timed) >= len(judged)):
        return "seconds of rest earned", _rest
    return "reps", _reps


def _held(cell: Cell) -> Bar:
    value = None if cell.held_ms is None else cell.held_ms / 1000
    return Bar(cell.round, value, "" if value is None else f"{value:.0f}", cell.made)


def _rest(cell: Cell) -> Bar:
    if cell.earned_rest_ms is not None and cell.outcome == "done":
        seconds = cell.earned_rest_ms / 1000
        return Bar(cell.round, seconds, f"{seconds:.0f}", True)
    if cell.outcome == "done":
        return Bar(cell.round, 0.0, f"{cell.reps or 0}/{cell.goal}", False)
    return Bar(cell.round, None, "", None)


def _reps(cell: Cell) -> Bar:
    if cell.reps is None or cell.outcome not in ("done", "partly", "cut", "stopped"):
        return Bar(cell.round, None, "", None)
    more = "+" if cell.outcome in ("partly", "cut") else ""
    return Bar(cell.round, float(cell.reps), f"{cell.reps}{more}", cell.made)


def _caption(shows: str, goal: int, strips: list[tuple[str, list[Bar]]]) -> str:
    bars = [bar for _, some in strips for bar in some]
    said = [f"{shows[0].upper()}{shows[1:]}, a bar for each round."]
    if any(bar.made is False for bar in bars):
        missed = {
            "seconds held": "let go before the end",
            "reps": "short of the goal",
            "seconds of rest earned": "target not made, with the reps done",
        }
        said.append(f"Outlined: {missed[shows]}.")
    if goal:
        said.append(f"Dashed line: {goal}.")
    return " ".join(said)


def _draw(strips: list[tuple[str, list[Bar]]], goal: int) -> str:
    """Draw the strips, the first at the top, all on one scale from 0."""
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    settings: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": "handbell",
        "font.family": "sans-serif",
        "font.size": 9.5,
        "text.parse_math": False,
    }
    rounds = max(bar.round for _, bars in strips for bar in bars)
    top = max([goal, *(bar.value or 0 for _, bars in strips for bar in bars)]) or 1
    with mpl.rc_context(settings), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # letters its own font lacks: the reader's has them
        figure = Figure(figsize=(WIDTH_IN, STRIP_IN * len(strips) + 0.3))
        FigureCanvasSVG(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_axis_off()
        inches = figure.get_figheight()
        axes.set_xlim(0, WIDTH_IN)
        axes.set_ylim(-inches, 0)
        places = _Places(rounds, top)
        _draw_rounds(axes, places, rounds)
        for n, (name, bars) in enumerate(strips):
            _draw_strip(axes, places, -0.3 - STRIP_IN * n, name, bars, goal)
        out = io.StringIO()
        figure.savefig(out, format="svg", transparent=True, metadata=_NO_METADATA)
    return out.getvalue()


_NO_METADATA: dict[str, Any] = {"Creator": None, "Date": None, "Format": None, "Type": None}


class _Places:
    """Where things stand, in inches: names on the left, then one column a round."""

    left = 1.34
    height = 0.29

    def __init__(self, rounds: int, top: float) -> None:
        self.step = min(1.0, (WIDTH_IN - self.left - 0.05) / rounds)
        self.width = min(0.55, self.step * 0.62)
        self.right = self.left + self.step * rounds
        self._scale = self.height / top
        self.numbered = rounds <= NUMBERED_ROUNDS

    def x(self, round_: int) -> float:
        """Return the middle of a round's column."""
        return self.left + self.step * (round_ - 0.5)

    def tall(self, value: float) -> float:
        """Return how high a value stands."""
        return value * self._scale


def _draw_rounds(axes: Axes, places: _Places, rounds: int) -> None:
    every = 1 if rounds <= NUMBERED_ROUNDS else 5
    for round_ in range(1, rounds + 1):
        if round_ % every == 0:
            axes.text(places.x(round_), -0.13, str(round_), color=SOFT, ha="center", va="center")
    axes.text(places.left - 0.1, -0.13, "round", color=SOFT, ha="right", va="center")


def _draw_strip(
    axes: Axes, places: _Places, top: float, name: str, bars: list[Bar], goal: int
) -> None:
    base = top - STRIP_IN + 0.06
    short = name if len(name) <= NAME_LONGEST else name[: NAME_LONGEST - 1] + "…"
    axes.text(places.left - 0.1, base + 0.12, short, color=INK, ha="right", va="center")
    axes.plot([places.left, places.right], [base, base], color=SOFT, linewidth=0.6)
    if goal:
        height = base + places.tall(goal)
        line = [places.left, places.right]
        axes.plot(line, [height, height], color=SOFT, linewidth=0.8, linestyle=(0, (3, 2)))
    for bar in bars:
        if bar.value is None:
            continue
        missed = bar.made is False
        axes.bar(
            places.x(bar.round),
            max(places.tall(bar.value), 0.05 if missed else 0.012),
            width=places.width,
            bottom=base,
            color=PAPER if missed else MADE,
            edgecolor=MISSED if missed else MADE,
            linewidth=1.3 if missed else 0.6,
        )
        if places.numbered:
            height = base + max(places.tall(bar.value), 0.05) + 0.025
            behind = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.3} if goal else None
            axes.text(
                places.x(bar.round),
                height,
                bar.label,
                color=INK,
                ha="center",
                va="bottom",
                size=8.5,
                bbox=behind,
            )


def _inline(svg: str, key: str, title: str, description: str) -> str:
    """Make a whole SVG file fit for standing in a page that may hold others."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    body = re.sub(r"<style.*?</style>", "", body, flags=re.DOTALL)
    body = re.sub(r"<!--.*?-->", "", body, flags=re.DOTALL)
    body = re.sub(r"<defs>\s*</defs>", "", body)
    body = re.sub(r'\bid="', f'id="{key}-', body)
    body = re.sub(r'(xlink:href="#|url\(#)', rf"\g<1>{key}-", body)
    for colour, variable in _VARIABLES.items():
        body = body.replace(colour, f"var(--{variable})")
    size = re.search(r'viewBox="[^"]*"', body)
    opening = (
        f'<svg {size.group() if size else ""} role="img" '
        f'aria-labelledby="{key}-title {key}-desc" xmlns="http://www.w3.org/2000/svg" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink">'
        f'<title id="{key}-title">{html.escape(title)}</title>'
        f'<desc id="{key}-desc">{html.escape(description)}</desc>'
    )
    inner = body[body.index(">") + 1 :]
    return opening + re.sub(r"\n\s*", "\n", inner).strip()
