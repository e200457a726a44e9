"""Station cards and the timetable: what stands on them, how large, and the files."""

import json
import re
import sys
from pathlib import Path

import pytest
import tomlkit
from made_cards import LONG, longest, of_library, of_long_notes
from made_plans import EXAMPLES, toml

from handbell.base.errors import HandbellError
from handbell.base.places import BROWSER
from handbell.cli.main import main
from handbell.coach.library.files import read_entries
from handbell.coach.library.shelf import Library
from handbell.compile import build
from handbell.paper import layout, legible
from handbell.paper import printing as cards_print
from handbell.paper.cards import Card, LaneCard, cards_of, kit_words, task_words
from handbell.paper.layout import FAR, FAR_BEST, MARGIN_MM, NEAR, PAPERS, pages_of
from handbell.paper.page import cards_page, timetable_page
from handbell.paper.timetable import timetable
from handbell.plan.files import load_plan, parse_plan

LIBRARY = Library(*read_entries(None))
CAUTION = "Mind yourselves."


def example(name):
    return build(load_plan(EXAMPLES[name]))


def run(capsys, *words):
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return code, said.out, said.err


# What stands on them


def test_a_rotation_has_a_card_for_each_station():
    cards = cards_of(example("rotation"), LIBRARY)
    assert [(card.head, card.name) for card in cards] == [
        ("Station 1", "Box jump"),
        ("Station 2", "Ring row"),
        ("Station 3", "Wall sit"),
        ("Station 4", "Ball slam"),
    ]
    assert cards[1].task == "12 reps in 40 s" and cards[2].task == "hold the position for 40 s"
    assert (cards[2].tap, cards[0].tap) == ("Tap when you let go.", "Tap each rep.")
    assert all(card.place == "Corners, 2 rounds" for card in cards)


def test_lanes_have_a_card_for_each_station_and_each_exercise():
    cards = cards_of(example("harbour"), LIBRARY)
    lanes = [card for card in cards if isinstance(card, LaneCard)]
    walls = [card for card in cards if isinstance(card, Card)]
    assert (lanes[0].head, lanes[0].people) == ("Door", "Pier: 1, 2")
    assert len(lanes) == 4 and len(walls) == 8
    assert [block.title for block in lanes[0].blocks] == [
        "Cast off, 2 rounds",
        "Open water, 2 rounds",
        "Homeward, 3 rounds",
    ]
    assert ("Bent-over row", "12, 10, 8 in 30 s", ()) in lanes[0].blocks[2].exercises
    # Without groups and stations all lanes are alike and need one card.
    alike = [c for c in cards_of(example("gate"), LIBRARY) if isinstance(c, LaneCard)]
    assert [card.head for card in alike] == ["At the gate"]


@pytest.mark.parametrize("name", ["gate", "harbour", "straps", "three-block"])
def test_a_list_is_on_one_page_with_what_to_do_below_itself_where_that_fits(name):
    lanes = [c for c in cards_of(example(name), LIBRARY) if isinstance(c, LaneCard)]
    pages = list(pages_of(lanes, PAPERS["a4"]))
    assert len(pages) == len(lanes)
    for page in pages:
        told = [piece for piece in page.pieces if piece.kind == "line"]
        assert len({piece.label_mm for piece in told}) == 1
        assert (told[0].label_mm > 0) == (name != "harbour"), "there it would take a second page"
        assert all(piece.strong.endswith(":") == (not piece.label_mm) for piece in told)


def test_names_from_right_to_left_move_no_number_of_the_timetable():
    plan = tomlkit.parse(EXAMPLES["harbour"].read_text(encoding="utf-8"))
    plan["group"][0]["name"], plan["block"][0]["name"] = "קבוצה", "רגליים"
    plan["warm_up"][0]["name"] = "הליכה"
    built = build(parse_plan(tomlkit.dumps(plan).encode()))
    said, _ = timetable_page(built, LIBRARY, PAPERS["a4"], CAUTION)
    assert "<p><bdi>קבוצה</bdi>: 1, 2; Buoy: 3, 4;" in said
    assert "<h2><bdi>רגליים</bdi>, 2 rounds</h2>" in said
    assert "<td><bdi>הליכה</bdi>, 1:00</td>" in said
    assert "hold the position for 30\u00a0s" in said, "a number stands with its unit"


def test_a_heading_in_a_list_is_nearer_to_its_own_lines():
    """The look says the same as the sums: more over a heading than under it, clear of its rule."""
    css = (Path(layout.__file__).parent / "cards.css").read_text(encoding="utf-8")
    (over, under, rule) = re.search(
        r"\.block \{[^}]*padding: ([\d.]+)em 0 ([\d.]+)em; border-bottom: ([\d.]+)mm", css
    ).groups()
    said = (layout.BLOCK_OVER, layout.BLOCK_UNDER, layout.RULE_MM)
    assert (float(over), float(under), float(rule)) == said
    assert float(over) > float(under) > 0
    assert f".part {{ line-height: {layout.LIST_LINE}; }}" in css


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_timetable_has_its_times_in_one_column(name):
    parts = timetable(example(name), LIBRARY, PAPERS["a4"], CAUTION).parts
    assert len({part.shares[0] for part in parts}) == 1
    for part in parts:
        assert part.shares[0] + sum(part.shares[1:]) == pytest.approx(100)
        assert all(re.fullmatch(r"[\d:]+(, [\d:]+)*", row[0]) for row in part.rows)


def test_lanes_in_orders_of_their_own():
    text = """
title = "Straps"
boxes = 2
[[block]]
order = [[1, 2], [2, 1]]
[[block.exercise]]
name = "Row"
work_s = 30
[[block.exercise]]
name = "Squat"
work_s = 30
"""
    built = build(parse_plan(text.encode()))
    lanes = [c for c in cards_of(built, LIBRARY) if isinstance(c, LaneCard)]
    assert [[line.name for line in lane.blocks[0].exercises] for lane in lanes] == [
        ["Row", "Squat"],
        ["Squat", "Row"],
    ]
    (part,) = [p for p in timetable(built, LIBRARY, PAPERS["a4"], CAUTION).parts if p.headings]
    assert [row[1:] for row in part.rows] == [("Row", "Squat"), ("Squat", "Row")]


def test_options_come_from_the_ladder_nearest_first():
    for entry in LIBRARY.entries.values():
        plan = {"title": "T", "block": [{"exercise": [{"name": entry.name, "work_s": 30}]}]}
        if entry.is_hold:
            plan["block"][0]["exercise"][0]["hold"] = True
        card = cards_of(build(parse_plan(toml(plan).encode())), LIBRARY)[-1]
        assert set(card.easier) <= {e.name for e in LIBRARY.easier(entry)}
        assert set(card.harder) <= {e.name for e in LIBRARY.harder(entry)}
        assert bool(card.easier) == bool(LIBRARY.easier(entry))
        assert bool(card.harder) == bool(LIBRARY.harder(entry))
        assert (card.lever, card.caution) == (entry.lever, entry.cautions)


def test_an_exercise_that_the_library_lacks_has_a_card_too():
    text = f'title = "T"\n[[block]]\n[[block.exercise]]\nname = "{LONG}"\nwork_s = 30\n'
    card = cards_of(build(parse_plan(text.encode())), LIBRARY)[-1]
    assert card.name == LONG and not card.easier and not card.caution


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ("work_s = 30", "30 s"),
        ("work_s = 7.5\nreps = 3", "3 reps in 7.5 s"),
        ("work_s = [40, 30]\ngoal = 9", "40, 30 s, goal 9"),
        ("work_s = 30\nhold = true\nboth_sides = true", "hold the position for 30 s, both sides"),
        ("work_s = 30\nreps = [9, 8, 7, 6, 5, 4, 3]", "9 down to 3 reps, by 1, in 30 s"),
        ("work_s = 30\nreps = [9, 8, 7, 6, 5, 4, 2]", "9, 8, 7, 6, 5, ..., 2 reps in 30 s"),
        ("work_s = 30\nreps = [9, 9, 9, 9, 9, 9, 9]", "9 reps in 30 s"),
    ],
)
def test_tasks_in_words(keys, words):
    text = f'title = "T"\n[[block]]\n[[block.exercise]]\nname = "A"\n{keys}\n'
    exercise = parse_plan(text.encode()).blocks[0].exercises[0]
    assert task_words(exercise) == words


# How large


def test_everything_for_two_metres_is_large_enough():
    """NUREG-0700: 15 minutes of arc at least, 20 better, for a capital at 2 m."""
    far, best, near = (size * legible.CAPITAL for size in (FAR, FAR_BEST, NEAR))
    assert far >= 2000 * 0.00436 and best >= 2000 * 0.00582 and near >= 1000 * 0.00436
    for paper in PAPERS.values():
        for page in pages_of(cards_of(of_library(LIBRARY), LIBRARY), paper):
            for piece in page.pieces:
                if piece.kind == "notes":
                    assert piece.size == NEAR
                else:
                    assert piece.size >= FAR, piece
            assert sum(p.high_mm(paper.room_mm) for p in page.pieces) <= paper.high_mm - 20


@pytest.mark.parametrize("size", PAPERS)
def test_every_exercise_keeps_its_options_lever_and_caution(size):
    cards = cards_of(of_library(LIBRARY), LIBRARY)
    pages = [p for p in pages_of(cards, PAPERS[size]) if p.kind == "card"]
    walls = [card for card in cards if isinstance(card, Card)]
    for card, page in zip(walls, pages, strict=True):
        said = {piece.kind: piece for piece in page.pieces}
        assert ("easier" in said) == bool(card.easier)
        assert ("harder" in said) == bool(card.harder)
        if card.caution:
            assert said["mind"].text == card.caution
        assert card.lever in said["notes"].text if card.lever else True


@pytest.mark.parametrize("layout", ["lanes", "rotation"])
@pytest.mark.parametrize("size", PAPERS)
def test_the_longest_texts_fit(layout, size):
    paper = PAPERS[size]
    built = longest(layout)
    for page in pages_of(cards_of(built, LIBRARY), paper):
        assert sum(p.high_mm(paper.room_mm) for p in page.pieces) <= paper.high_mm - 2 * MARGIN_MM
        assert all(piece.size >= FAR for piece in page.pieces if piece.kind != "notes")


@pytest.mark.parametrize("size", PAPERS)
def test_a_coachs_own_long_notes_fit(size):
    """What is too long for two metres is smaller, but whole, and large enough for one metre."""
    built, library = of_long_notes(LONG, read_entries(None))
    paper = PAPERS[size]
    page = list(pages_of(cards_of(built, library), paper))[-1]
    said = {piece.kind: piece for piece in page.pieces}
    assert said["mind"].size == NEAR and len(said["mind"].text) == 200
    assert min(said["name"].size, said["task"].size) >= FAR
    assert min(piece.size for piece in page.pieces) == NEAR
    assert len(said["notes"].text) >= 200
    assert sum(p.high_mm(paper.room_mm) for p in page.pieces) <= paper.high_mm - 2 * MARGIN_MM


@pytest.mark.parametrize("face", ["plain", "bold"])
def test_a_text_is_never_wider_than_thought(face):
    """Against the widths that stand in DejaVu Sans 2.35, the wide face the estimate is made for."""
    found = json.loads(Path(__file__).with_name("dejavu_sans.json").read_text(encoding="utf-8"))
    unit = 2048
    widths = dict(zip(found["letters"], found[face]["widths"], strict=True))
    texts = [e.name for e in LIBRARY.entries.values()]
    texts += [e.cautions for e in LIBRARY.entries.values()]
    texts += [chr(c) for c in range(32, 0x180) if chr(c).isprintable()]
    for text in texts:
        wide = sum(widths[letter] for letter in text) / unit
        assert wide <= legible.width(text, face == "bold") + 1e-9, text
        if len(text) > 20:  # and the thought is not a guess from far above either
            assert legible.width(text, face == "bold") < 1.2 * wide
    assert found[face]["capital"] / unit >= legible.CAPITAL


def test_lines_and_sizes():
    assert legible.lines("one two", 10, 1000) == 1
    assert legible.lines("one two three", 10, 40) == 3
    assert legible.lines("W" * 32, 10, 100) >= 4
    assert legible.lines("", 10, 100) == 1
    assert legible.largest("Squat", 277, 60, 17, 44, bold=True) == 44
    assert legible.largest("Squat", 277, 30, 17, 44, bold=True) * legible.LINE <= 30
    assert legible.largest("W" * 32, 277, 20, 17, 44) == 17


# The timetable


def test_the_timetable_has_every_start():
    built = example("harbour")
    table = timetable(built, LIBRARY, PAPERS["a4"], CAUTION)
    text = json.dumps([part.rows for part in table.parts])
    for row in built.timetable:
        at = f"{row.class_ms // 60_000}:{row.class_ms // 1000 % 60:02d}"
        if row.kind in ("window", "warm-up", "cool-down", "break"):
            assert re.search(rf"\b{at}\b", text), row
    assert "Pier: 1, 2; Buoy: 3, 4; Anchor: 5, 6; Mast: 7, 8" in table.facts
    assert CAUTION in table.facts
    assert any(fact.startswith("Kit: ") and "dumbbells" in fact for fact in table.facts)
    assert any("of work" in fact for fact in table.facts)


def test_the_timetables_kit_parts_what_it_lists_and_says_nothing_twice():
    """Of the library: a suitcase carry takes a kettlebell or dumbbells, a farmer carry the same."""
    names = ("Farmer carry", "Suitcase carry", "Bench dip")
    rows = "".join(f'[[block.exercise]]\nname = "{name}"\nwork_s = 30\n' for name in names)
    plan = parse_plan(f'title = "T"\n[[block]]\n{rows}'.encode())
    assert kit_words(plan, LIBRARY) == "dumbbells or kettlebells; bench, box or step"


def test_a_rotation_says_who_is_where():
    built = example("rotation")
    (part,) = [p for p in timetable(built, LIBRARY, PAPERS["a4"], CAUTION).parts if p.headings]
    assert part.headings[2] == "Station 2: Ring row, 12 reps in 40 s"
    assert [row[1:] for row in part.rows] == [
        ("North", "East", "South", "West"),
        ("West", "North", "East", "South"),
        ("South", "West", "North", "East"),
        ("East", "South", "West", "North"),
    ]
    starts = [row.class_ms for row in built.timetable if row.kind == "window" and row.round == 1]
    assert [row[0].split(",")[0] for row in part.rows] == [
        f"{ms // 60_000}:{ms // 1000 % 60:02d}" for ms in starts
    ]


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("size", PAPERS)
def test_the_examples_are_one_page(name, size):
    table = timetable(example(name), LIBRARY, PAPERS[size], CAUTION)
    assert not table.over and table.size_mm >= 3


def test_a_class_too_long_for_a_page_says_so():
    built = of_library(LIBRARY)
    assert timetable(built, LIBRARY, PAPERS["a4"], CAUTION).over


# The files


def test_pages_need_nothing_else_and_escape_what_they_show():
    text = (
        'title = "<b>T</b>"\n[[station]]\nlabel = "<i>é&\\""\n[[block]]\n[[block.exercise]]\n'
        'name = "<script>x</script>"\nwork_s = 30\n'
    )
    built = build(parse_plan(text.encode()))
    for paper in PAPERS.values():
        cards, count = cards_page(built, LIBRARY, paper)
        table, _ = timetable_page(built, LIBRARY, paper, CAUTION)
        assert count == 2
        for page in (cards, table):
            assert "<script" not in page and "<i>" not in page and "<b>T" not in page
            assert "&lt;script&gt;x&lt;/script&gt;" in page
            assert not re.search(r"https?:|url\(|src=|href=|@import", page)
            assert 'charset="utf-8"' in page and "default-src 'none'" in page
            assert f"size: {paper.name} " in page
        assert "é&amp;" in cards


def test_cards_writes_a_folder(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = run(capsys, "cards", EXAMPLES["rotation"])
    assert code == 0
    assert "4 cards and a timetable, A4" in out and "scale 100 %" in out
    assert "screening questionnaire" in out
    folder = tmp_path / "rotation-cards"
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert set(first) == {"cards.html", "timetable.html"}
    run(capsys, "cards", EXAMPLES["rotation"])
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first
    facts = json.loads(
        run(capsys, "cards", EXAMPLES["rotation"], "--size", "letter", "--out", "x", "--json")[1]
    )["data"]
    assert facts["cards"] == 4 and not facts["timetable_over_a_page"]
    assert b"size: letter landscape" in (tmp_path / "x" / "cards.html").read_bytes()


def test_no_browser_is_said_with_what_to_do(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv(BROWSER, str(tmp_path / "none"))
    code, out, _ = run(capsys, "cards", EXAMPLES["rotation"], "--pdf", "--out", tmp_path / "c")
    assert code == 1
    assert "No browser was found" in out and "Open the pages in any browser" in out
    assert (tmp_path / "c" / "cards.html").exists()


def test_a_browser_that_prints_nothing(tmp_path):
    page = tmp_path / "p.html"
    page.write_text("x", encoding="utf-8")
    with pytest.raises(HandbellError, match="did not print"):
        cards_print.print_pdf(sys.executable, page, tmp_path / "p.pdf")
    assert not (tmp_path / "p.pdf").exists()
    with pytest.raises(HandbellError, match="did not print"):
        cards_print.print_pdf(str(tmp_path / "none"), page, tmp_path / "p.pdf")


def test_a_folder_that_cannot_be_written(capsys, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    code, _, err = run(capsys, "cards", EXAMPLES["rotation"], "--out", tmp_path / "file" / "x")
    assert code == 1 and "can't be written" in err
