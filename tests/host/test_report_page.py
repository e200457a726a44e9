"""The page: self-contained, escaped, and its charts fit to stand side by side."""

import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser

import classes
import pytest
from classes import Piece

from handbell.base.errors import HandbellError
from handbell.report import class_report
from handbell.report.charts import chart_of
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
        set_wearers(store, None, HOSTILE, [8])
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
    assert "$\\frac" in found.text  # not typeset as mathematics


def test_every_chart_is_named_and_its_numbers_stand_in_a_table(report):
    found = outline_of(page(report))
    charts = [attrs for tag, attrs in found.tags if tag == "svg"]
    assert len(charts) == len(report.exercises)
    assert all(attrs["role"] == "img" and attrs["aria-labelledby"] for attrs in charts)
    tables = sum(tag == "table" for tag, _ in found.tags)
    assert tables == len(report.exercises) + 2


def test_a_chart_is_sound_xml_with_text_as_text_and_named_colours(report):
    for n, table in enumerate(report.exercises):
        svg = chart_of(table, f"c{n}").svg
        root = ET.fromstring(svg)
        words = [e.text for e in root.iter() if e.tag.endswith("}text")]
        assert "round" in words and "Bib 7" in words
        styles = " ".join(e.get("style", "") for e in root.iter())
        assert set(re.findall(r"#[0-9a-f]{6}", styles)) == set()
        assert "var(--bar)" in styles or "var(--missed)" in styles


def test_a_chart_is_the_same_twice(report):
    table = report.exercises[0]
    assert chart_of(table, "a").svg == chart_of(table, "a").svg


def test_many_rounds_and_nothing_counted_are_drawn_or_left_out(tmp_path):
    with open_store(str(tmp_path / "more.sqlite")) as store:
        data = classes.timeline(((Piece("Rope skips", 20), Piece("March", 20, tap=0)),), rounds=40)
        store.put_timeline(data)
        store.ingest(classes.play(data).journal, classes.BOX_IDS[0], AT_US)
        skips, march = class_report(store).exercises
    assert chart_of(march, "m") is None
    assert chart_of(skips, "s").svg.count("<text") < 40


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
