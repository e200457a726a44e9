"""The page: self-contained, escaped, and its charts fit to stand side by side."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import classes
import pytest
from classes import Piece, Press

from handbell.base.errors import HandbellError
from handbell.report import class_report
from handbell.report.advised import Advised, Change, Single
from handbell.report.one_class.charts import WIDE, bars_of
from handbell.report.one_list import Listed
from handbell.report.page import page, write_page
from handbell.store import open_store
from handbell.store.people.wearers import set_wearers

AT_US = (classes.START_UTC_MS + 900_000) * 1000
HOSTILE = {
    1: "<script>alert(1)</script>",
    2: '" onload="x',
    3: "]]> <!-- $\\frac{1}{2}$",
    4: "{{ 7*7 }}{% raw %}",
    5: "נועה",
    6: "W" * 80,
}
VOID = {"meta", "br", "hr", "img", "link", "input"}


class Outline(HTMLParser):
    """Gathers what a page is made of and checks that its tags nest."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.open: list[str] = []
        self.text = ""

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def outline_of(text: str) -> Outline:
    found = Outline()
    found.feed(text)
    assert found.open == []
    return found


@pytest.fixture
def report(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as store:
        for box, data, run in classes.make_class():
            store.put_timeline(data)
            store.ingest(run.journal, box, AT_US)
        set_wearers(store, 1, HOSTILE, [8])
        yield class_report(store)


def test_the_page_needs_nothing_from_anywhere(report):
    text = page(report)
    found = outline_of(text)
    assert not {"script", "link", "iframe", "img", "object"} & {tag for tag, _ in found.tags}
    for _, attrs in found.tags:
        assert not any(name.startswith("on") for name in attrs)
        for name in ("src", "href", "xlink:href"):
            assert attrs.get(name, "#").startswith("#")
    assert not re.search(r"url\((?!#)", text)
    assert "@import" not in text and "<metadata" not in text
    policy = [a["content"] for tag, a in found.tags if a.get("http-equiv")]
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'"]


def test_ids_are_unique_and_what_refers_to_them_exists(report):
    found = outline_of(page(report))
    ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in found.tags:
        for name in ("aria-labelledby", "xlink:href"):
            for word in attrs.get(name, "").replace("#", "").split():
                assert word in ids
        for word in re.findall(r"url\(#([^)]*)\)", str(attrs)):
            assert word in ids


def test_hostile_names_are_only_ever_text(report):
    text = page(report)
    found = outline_of(text)
    for name in HOSTILE.values():
        assert name in found.text
    assert "<bdi>נועה</bdi>" in text
    one = Single(7, "נועה", "Row", "harder", "12 reps", "kept", "kept to the end", False)
    change = Change(1, "Row", "harder", "", 0, 1, (one,))
    told = page(replace(report, advised=Advised((change,), "")))
    assert "<dd><b><bdi>נועה</bdi></b>:" in told
    assert "$\\frac" in found.text  # not typeset as mathematics


def test_the_list_is_first_and_shut_and_not_printed_unless_asked(report):
    one = Listed(5, "נועה", "struggles", "1 of 9 met, how hard: 9", "Ask why.", ("fades: Row",))
    found = replace(report, listed=(one,))
    shut, asked = page(found), page(found, with_list=True)
    assert '<details class="list">' in shut and '<details class="list asked" open>' in asked
    assert ".list:not(.asked) { display: none; }" in shut.split("@media print {")[1]
    for text in (shut, asked):
        outline_of(text)
        assert text.index("<details") < text.index('id="minute"')
        assert "<bdi>נועה</bdi></b> struggles: 1 of 9 met, how hard: 9. Also fades: Row." in text
    assert "<details" not in page(replace(report, listed=()))


def cells(text: str, exercise: str) -> list[tuple[str, dict[str, float]]]:
    """The words of each round's cell of an exercise, with what is drawn there: looks and widths."""
    section = next(s for s in text.split("<section") if f"<bdi>{exercise}</bdi>" in s)
    found = []
    for words, svg, remark in re.findall(
        r"<td class=.barred.[^>]*>(.*?)(<svg.*?</svg>)?(| <small>.*?)</td>", section
    ):
        drawn = ET.fromstring(svg) if svg else ()
        said = re.sub(r"<.*?>", "", words + remark).replace("\u00a0", " ")
        found.append((said, {mark.get("class"): reach(mark) for mark in drawn}))
    return found


def reach(mark: ET.Element) -> float:
    """How long a bar is, or where a line stands."""
    return float(mark.get("width") or mark.get("points").split(",")[0])


def meaning(text: str, exercise: str) -> str:
    section = next(s for s in text.split("<section") if f"<bdi>{exercise}</bdi>" in s)
    return "".join(re.findall(r'<p class="meaning">(.*?)</p>', section))


def test_a_bar_is_as_long_as_its_reps(report):
    text = page(report)
    skips = cells(text, "Rope skips")
    most = max(int(said) for said, _ in skips)
    assert len(skips) == 7 * 3
    for said, drawn in skips:
        assert drawn["whole"] == WIDE
        assert drawn["bar"] == pytest.approx(WIDE * int(said) / most, abs=0.06)
    assert meaning(text, "Rope skips") == f"A whole bar: {most} reps."


def test_a_targets_bar_is_its_reps_and_rest_is_only_said(report):
    text = page(report)
    steps = cells(text, "Box steps")
    for said, drawn in steps:
        if said.startswith("made"):
            assert drawn["bar"] == WIDE and said.endswith("s rest")
        else:
            reps, _, goal, *_ = said.split()
            assert "bar" not in drawn  # outlined, within its line
            assert drawn["missed"] == pytest.approx(WIDE * int(reps) / int(goal), abs=1.5)
    assert {said.split()[0] for said, _ in steps} >= {"made", "16"}
    assert meaning(text, "Box steps") == "A whole bar: the target. Outlined: not made."


def test_a_holds_bar_is_its_seconds_of_the_window(report):
    text = page(report)
    planks = cells(text, "Front plank")
    for said, drawn in planks:
        look = "bar" if "to the end" in said else "missed"
        assert drawn[look] == pytest.approx(WIDE * float(said.split()[0]) / 30, abs=1.6)
    assert {look for _, drawn in planks for look in drawn} == {"whole", "bar", "missed"}


def bar_with(report, exercise: str, **values) -> str:
    """The bar of the first cell of an exercise, were it another one."""
    table = next(e for e in report.exercises if e.name == exercise)
    row = table.rows[0]
    odd = replace(row, cells=(replace(row.cells[0], **values), *row.cells[1:]))
    return bars_of(replace(table, rows=(odd, *table.rows[1:]))).rows[0].get(1, "")


def test_a_round_with_a_target_of_its_own_is_measured_by_it(report):
    svg = bar_with(report, "Box steps", goal=8, reps=2, made=None, outcome="cut")
    assert f'width="{WIDE / 4:g}"' in svg


def test_what_tells_no_count_has_no_bar(report):
    assert bar_with(report, "Front plank", held_ms=None, reps=3, made=None, outcome="cut") == ""
    assert bar_with(report, "Shuttle run", made=False, finish_ms=None) == ""
    assert bar_with(report, "Rope skips", outcome="set aside") == ""
    assert bar_with(report, "Rope skips", reps=None, outcome="no count") == ""


def test_a_goal_stands_across_the_bars_and_who_is_short_of_it_is_outlined(tmp_path):
    with open_store(str(tmp_path / "goal.sqlite")) as store:
        data = classes.timeline(((Piece("Squat", 30, goal=14),),), rounds=2)
        store.put_timeline(data)
        presses = [Press(classes.LEAD_IN_MS + 1000 * n) for n in range(1, 25)]
        store.ingest(classes.play(data, presses).journal, classes.BOX_IDS[0], AT_US)
        text = page(class_report(store))
    (did, full), *short = cells(text, "Squat")
    assert did.startswith("24 goal 14")
    assert full == {"whole": WIDE, "bar": WIDE, "goal": pytest.approx(WIDE * 14 / 24, abs=0.06)}
    drawn = {"whole": WIDE, "missed": 0, "goal": full["goal"]}
    assert short == [("0", drawn), ("–", {}), ("–", {})]  # who never pressed is short of nothing
    assert meaning(text, "Squat") == (
        "A whole bar: 24 reps. Line across: the goal. Outlined: short of the goal."
    )


def test_bars_are_not_read_out_and_every_one_has_words(report):
    text = page(report)
    drawn = [attrs for tag, attrs in outline_of(text).tags if tag == "svg"]
    assert drawn and all(attrs["aria-hidden"] == "true" for attrs in drawn)
    told = [cell for table in report.exercises for cell in cells(text, table.name)]
    assert sum(bool(marks) for _, marks in told) == len(drawn)
    assert all(said for said, _ in told)
    assert not re.search(r'(fill|stroke|style)="', text)  # looks are the style sheet's


def test_many_rounds_are_drawn_and_nothing_counted_is_left_out(tmp_path):
    with open_store(str(tmp_path / "more.sqlite")) as store:
        pieces = Piece("Rope skips", 20), Piece("March", 20, tap=0), Piece("Lunge", 20)
        data = classes.timeline((pieces,), (1,), rounds=40)
        store.put_timeline(data)
        presses = [Press(classes.LEAD_IN_MS + 1000)]
        store.ingest(classes.play(data, presses).journal, classes.BOX_IDS[0], AT_US)
        text = page(class_report(store))
    assert [drawn["bar"] for _, drawn in cells(text, "Rope skips")] == [WIDE] + 39 * [0]
    assert meaning(text, "Rope skips") == "A whole bar: 1 rep."
    for nothing in ("March", "Lunge"):
        assert cells(text, nothing) == [] and meaning(text, nothing) == ""


def test_a_page_is_written_whole_or_not_at_all(report, tmp_path):
    path = tmp_path / "new" / "page.html"
    write_page(report, path)
    first = path.read_text(encoding="utf-8")
    write_page(report, path)
    assert path.read_text(encoding="utf-8") == first
    assert [p.name for p in path.parent.iterdir()] == ["page.html"]
    with pytest.raises(HandbellError, match="new is a folder"):
        write_page(report, path.parent)


def test_a_class_without_presses_still_makes_a_page(tmp_path):
    with open_store(str(tmp_path / "empty.sqlite")) as store:
        data = classes.timeline(((Piece("March", 20, tap=0),),), (0,), rounds=1)
        store.put_timeline(data)
        store.ingest(classes.play(data).journal, classes.BOX_IDS[0], AT_US)
        empty = class_report(store)
    assert "No taps were asked for in this class." in outline_of(page(empty)).text
