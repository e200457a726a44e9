"""The tables of lights and bells are held against the firmware's own, lamp by lamp, note by note."""

import re
from pathlib import Path

import pytest

from box import lights
from handbell_core import cues, timeline

PAGE = Path(__file__).parents[2] / "docs" / "coaches" / "screens.md"
COLOURS = {
    "sky blue": cues.SKY_BLUE,
    "orange": cues.ORANGE,
    "blue": cues.BLUE,
    "purple": cues.PURPLE,
    "green": cues.BLUISH_GREEN,
    "yellow": cues.YELLOW,
}
BELLS = {
    "work": cues.GO,
    "ease": cues.EASE,
    "begin": cues.TURN,
    "heads-up": cues.NEAR,
    "count": cues.COUNT,
    "sides": cues.SIDES,
    "waits": cues.AWAIT,
    "made": cues.MADE,
    "taken back": cues.BACK,
    "end": cues.CLOSE,
    "here": cues.CALL,
}
# A row's first words: the kinds of span, what a run's state shows instead, the bell where no span
# of that kind begins.
ROWS = {
    "lead-in": ((timeline.LEAD_IN,), lights.BY_KIND),
    "warm-up": ((timeline.WARM_UP, timeline.COOL_DOWN), lights.BY_KIND),
    "window: work": ((timeline.WINDOW,), lights.BY_KIND),
    "window, everybody": ((timeline.WINDOW,), lights.MADE),
    "rest": ((timeline.REST, timeline.BREAK), lights.BY_KIND),
    "change": ((timeline.CHANGE,), lights.BY_KIND),
    "gate": ((timeline.GATE,), lights.BY_KIND),
    "a start": ((0,), lights.TO_START),
    "asking": ((timeline.RATING,), lights.BY_KIND),
    "the class": ((0,), lights.OVER),
    "idle": ((0,), lights.RESTING),
    "trouble": ((0,), lights.TROUBLE),
}
OWN_BELL = {lights.MADE: "made", lights.OVER: "end"}


def rows(heading):
    text = PAGE.read_text(encoding="utf-8").split(f"\n## {heading}\n")[1].split("\n## ")[0]
    lines = [line for line in text.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


class Strip(list):
    def write(self):
        pass


def shown(kind, look, left_ms, now_ms):
    """The lamps as the box lights them, at full brightness."""
    strip = Strip([None] * lights.LAMPS)
    duration_ms = 8_000 if look in (lights.BY_KIND, lights.MADE, lights.TO_START) else 0
    lights.Lights(strip, 255).set(kind, left_ms, duration_ms, now_ms, look)
    return list(strip)


def pattern(kind, look):
    """What a person would call what is seen as 8 s run out."""
    off = (0, 0, 0)
    begin, later = shown(kind, look, 8_000, 0), shown(kind, look, 3_500, 4_500 // 1_000 * 1_000)
    lit = [at for at, colour in enumerate(begin) if colour != off]
    if all(colour == off for colour in shown(kind, look, 7_500, 500)):
        return "all, blinking" if len(lit) == 8 else "?"
    if lit == [0]:
        return "the first one, faint" if max(begin[0]) < 64 else "?"
    if lit == [0, 7]:
        return "the two ends"
    if lit == [3, 4]:
        return "the two in the middle"
    if len(lit) == 1:
        return "one that moves" if [at for at in range(8) if later[at] != off] == [3] else "?"
    if len(set(begin)) == 2 and len(lit) == 8:
        return "every other one dim"
    return "all" if len(lit) == 8 and later[4:] == [off] * 4 else "?"


def bell(kind, look):
    if look in OWN_BELL:
        return OWN_BELL[look]
    cue = cues.start_cue(kind) if look == lights.BY_KIND else cues.NO_CUE
    return next((name for name, one in BELLS.items() if one == cue), "none")


def row_of(words):
    (found,) = [told for begin, told in ROWS.items() if words.startswith(begin)]
    return found


def test_every_look_of_a_box_has_a_row_and_only_one():
    told = [row_of(row[0]) for row in rows("Lights")]
    assert len(told) == len(set(told)) == len(ROWS)
    assert {kind for kinds, look in told for kind in kinds if not look} == set(cues.LIGHTS)
    assert {look for _, look in told} == set(range(lights.DARK))


@pytest.mark.parametrize("row", rows("Lights"), ids=lambda row: row[0])
def test_a_row_says_what_the_box_shows_and_rings(row):
    words, colour, said, rings = row
    kinds, look = row_of(words)
    for kind in kinds:
        seen = {max(shown(kind, look, 8_000, 0), key=sum)}
        part = max(max(one) for one in seen) / max(COLOURS[colour])
        assert all(
            abs(a - b * part) <= 1
            for one in seen
            for a, b in zip(one, COLOURS[colour], strict=True)
        )
        assert pattern(kind, look) == said
        assert bell(kind, look) == rings


def sound(motif):
    """A motif in words: lengths, and whether a note is higher or lower than the one before."""
    notes = [(hz, ms) for hz, ms in motif if hz]
    lengths = ["short" if ms < 140 else "long" for _, ms in notes]
    pitch = "low" if notes[0][0] < 700 else "high" if notes[0][0] > 1_200 else ""
    if len({hz for hz, _ in notes}) == 1:
        count = ("one", "two", "three")[len(notes) - 1]
        many = f"{count} {lengths[0]} note{'s' if len(notes) > 1 else ''}"
        return f"{many}, {pitch}" if pitch else many
    words = [f"{lengths[0]} and {pitch}" if pitch else lengths[0]]
    for (before, _), (hz, _), length in zip(notes, notes[1:], lengths[1:], strict=False):
        words.append(f"then {length} and {'higher' if hz > before else 'lower'}")
    return ", ".join(words)


def test_every_bell_is_told_as_it_sounds():
    told = {row[0]: row[1] for row in rows("Bells")}
    assert told == {name: sound(cues.MOTIFS[cue]) for name, cue in BELLS.items()}
    assert set(BELLS.values()) == set(cues.MOTIFS)
    assert len(set(told.values())) == len(told), "no two sound alike in words"


def test_the_heads_up_and_the_blink_are_as_fast_as_told():
    page = PAGE.read_text(encoding="utf-8")
    assert f"{cues.NEAR_MS // 1000} s are left" in page and cues.BLINK_MS == 1_000
    assert "once a second" in page and re.search(r"an eighth of the time", page)
    assert lights.LAMPS == 8
