"""All pages: hostile words stay words, what is read can be read, without colour too."""

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import classes
import pytest
import report_months as months
from classes import Piece
from test_report_page import Outline, outline_of

import handbell.report.page
from handbell.base.robust import Slope
from handbell.base.words import few
from handbell.report import class_report
from handbell.report.over_time.athlete import athlete_report
from handbell.report.over_time.group import group_report
from handbell.report.over_time.lines import Bar, Dot, Visit, bars, dots, visits
from handbell.report.page import page
from handbell.store import open_store
from handbell_core import timeline as t

EVIL = '<img src=x onerror="alert(1)">'
NAMES = {1: EVIL, 2: "נועה \u05d0", 3: '=HYPERLINK("http://x")', 4: "{{ 7*7 }}</td>"}
PIECES = (
    (
        Piece("</title><script>a()</script>", 30),
        Piece("]]>\x01 & \"quote' -->", 30, t.ASK_TARGET, goal=10),
        Piece("W" * 240, 30, t.ASK_HOLD, t.TAP_DROP),  # as long as a timeline's text may be
    ),
)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The class's, each athlete's and the group's page, with hostile names and exercises."""
    with open_store(str(tmp_path_factory.mktemp("evil") / "store.sqlite")) as store:
        months.fill(store, weeks=6, a_week=1, names=NAMES, pieces=PIECES)
        found = {"class": page(class_report(store)), "group": page(group_report(store))}
        for bib, name in NAMES.items():
            found[f"athlete {bib}"] = page(athlete_report(store, name))
    return found


def test_hostile_words_are_only_ever_text(pages):
    for text in pages.values():
        found = outline_of(text)
        assert not {"script", "img", "td onerror"} & {tag for tag, _ in found.tags}
        for _, attrs in found.tags:
            assert not any(name.startswith("on") for name in attrs)
    assert EVIL in outline_of(pages["athlete 1"]).text
    assert "<bdi>נועה א</bdi>" in pages["group"]
    assert "{{ 7*7 }}</td>" in outline_of(pages["group"]).text


def test_pages_need_nothing_else(pages):
    for text in pages.values():
        found = outline_of(text)
        assert not {"script", "link", "iframe", "object"} & {tag for tag, _ in found.tags}
        for _, attrs in found.tags:
            for name in ("src", "href", "xlink:href"):
                assert attrs.get(name, "#").startswith("#")
        assert not re.search(r"url\((?!#)", text) and "@import" not in text
        assert "default-src 'none'" in text


def test_ten_thousand_letters_are_cut_on_the_page_and_whole_in_the_data(tmp_path):
    title = "Σ<b>" + "x" * 10_000
    with open_store(str(tmp_path / "s.sqlite")) as store:
        store.put_plan(classes.PLAN_TEXT, title)
        months.fill(store, weeks=1, a_week=2, boxes=1)
        found, ada = class_report(store), athlete_report(store, "Ada")
    assert found.title == title
    for text in (page(found), page(ada)):
        assert "x" * 100 in text and "x" * 121 not in text and "Σ&lt;b&gt;x" in text


def test_ids_are_unique_and_every_label_is_there(pages):
    for text in pages.values():
        found = outline_of(text)
        ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
        assert len(ids) == len(set(ids))
        for _, attrs in found.tags:
            for word in attrs.get("aria-labelledby", "").split():
                assert word in ids


def test_headings_go_down_one_step_at_a_time_and_tables_have_heads(pages):
    for text in pages.values():
        found = outline_of(text)
        levels = [int(tag[1]) for tag, _ in found.tags if re.fullmatch(r"h\d", tag)]
        assert levels[0] == 1 and levels.count(1) == 1
        assert all(b - a <= 1 for a, b in pairwise(levels))
        heads = [attrs for tag, attrs in found.tags if tag == "th"]
        assert heads and all(attrs.get("scope") in ("col", "row") for attrs in heads)
        assert 'lang="en"' in text and "<title>" in text


def test_every_picture_has_a_name_and_a_description(pages):
    for text in pages.values():
        for svg in re.findall(r"<svg.*?</svg>", text, re.S):
            root = ET.fromstring(svg)
            if root.get("aria-hidden"):
                continue  # beside words that say the same, which the page's tests hold it against
            assert root.get("role") == "img"
            words = {e.tag.split("}")[1]: e.text for e in root}
            assert words["title"] and words["desc"]


def test_a_script_in_a_title_would_be_seen():
    found = Outline()
    found.feed("<p>&lt;script&gt;</p><script>x</script>")
    assert "script" in {tag for tag, _ in found.tags}


# Contrast: relative luminance and ratio by the formula of WCAG 2.2 (from memory)


def luminance(colour: str) -> float:
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def palettes() -> list[dict[str, str]]:
    style = (Path(handbell.report.page.__file__).parent / "page.css").read_text(encoding="utf-8")
    roots = re.findall(r":root \{(.*?)\}", style, re.S)
    found: list[dict[str, str]] = []
    for root in roots:
        named = dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6})", root))
        full = {
            k: v if len(v) == 7 else "#" + "".join(c * 2 for c in v[1:]) for k, v in named.items()
        }
        found.append({**(found[0] if found else {}), **full})
    return found


def test_the_formula_knows_black_on_white():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # just fails; memory


def test_letters_and_marks_stand_out_in_light_dark_and_print():
    """4.5 for text, 3 for what must be seen in a picture (WCAG 2.2, 1.4.3 and 1.4.11; memory)."""
    light, dark, paper = palettes()
    for palette in (light, dark, paper):
        for ground in ("paper", "card"):
            for ink in ("ink", "soft"):
                assert contrast(palette[ink], palette[ground]) >= 4.5
            for mark in ("bar", "missed"):
                assert contrast(palette[mark], palette[ground]) >= 3


# The pictures over time

MONDAY = date(2026, 6, 29)


def marks(svg: str, look: str) -> list[dict]:
    return [e.attrib for e in ET.fromstring(svg).iter() if e.get("class") == look]


def test_dots_stand_where_their_days_and_values_are():
    days = [MONDAY + timedelta(days=7 * n) for n in range(5)]
    values = [Dot(day, 10.0 + n, n != 2) for n, day in enumerate(days)]
    trend = Slope(5, 1.0, 0.9, 1.1), True
    svg = dots(values, days, trend, "k", "Push-up <b>", "Up")
    full, hollow = marks(svg, "dot"), marks(svg, "dot hollow")
    assert len(full) == 4 and len(hollow) == 1
    xs = [float(d["cx"]) for d in full]
    ys = [float(d["cy"]) for d in full]
    assert xs == sorted(xs) and ys == sorted(ys, reverse=True)
    (line,) = marks(svg, "trend")
    ends = [tuple(map(float, p.split(","))) for p in line["points"].split()]
    assert ends[0] == pytest.approx((xs[0], ys[0]), abs=0.2)
    assert ends[1] == pytest.approx((xs[-1], ys[-1]), abs=0.2)


def test_a_trend_that_may_be_none_is_dashed_and_none_is_not_drawn():
    values = [Dot(MONDAY + timedelta(days=n), 5.0) for n in range(5)]
    days = [v.day for v in values]
    unsure = dots(values, days, (Slope(5, 0.1, -0.2, 0.3), False), "k", "A", "")
    assert len(marks(unsure, "trend unsure")) == 1
    assert "trend" not in dots(values, days, (None, False), "k", "A", "")


@pytest.mark.parametrize("values", [[0.0, 0.0], [0.001, 0.002], [3.0], [1e6, 2e6], [5.0] * 40])
def test_any_numbers_can_be_drawn(values):
    some = [Dot(MONDAY + timedelta(days=3 * n), v) for n, v in enumerate(values)]
    svg = dots(some, [], (None, False), "k", "A\x00\x1f", "")
    for mark in marks(svg, "dot"):
        assert 0 <= float(mark["cx"]) <= 340 and 0 <= float(mark["cy"]) <= 150


def levels(svg: str) -> list[float]:
    """What is written beside a picture's levels, in the order in which they are drawn."""
    roots = ET.fromstring(svg).iter()
    return [
        float(e.text) for e in roots if e.get("class") == "soft" and e.get("text-anchor") == "end"
    ]


@pytest.mark.parametrize("values", [[34.0, 46.0], [20.0, 21.0], [99.0, 100.1], [0.0, 0.03], [7.0]])
def test_levels_begin_below_the_lowest_and_end_above_the_highest(values):
    some = [Dot(MONDAY + timedelta(days=3 * n), v) for n, v in enumerate(values)]
    of_dots = levels(dots(some, [], (None, False), "k", "A", ""))
    of_bars = levels(bars([Bar(MONDAY, v) for v in values], "k", "Load", ""))
    for found in (of_dots, of_bars):
        assert found == sorted(found) and 2 <= len(found) <= 6
        assert found[0] <= min(values) and found[-1] >= max(values)
    assert of_bars[0] == 0


def test_bars_are_as_tall_as_their_numbers_and_gaps_have_signs():
    weeks = [Bar(MONDAY, 100.0), Bar(MONDAY, 50.0), Bar(MONDAY, None, "?"), Bar(MONDAY, None)]
    svg = bars(weeks, "k", "Load", "")
    tall = [float(m["height"]) for m in marks(svg, "bar")]
    assert len(tall) == 2 and tall[0] == pytest.approx(2 * tall[1])
    assert [e.text for e in ET.fromstring(svg).iter() if e.get("class") == "ink"] == ["?", "–"]
    assert "NaN" not in bars([Bar(MONDAY, None)], "k", "Load", "")


def test_visits_are_counted_in_words_too():
    svg = visits([Visit(MONDAY, True), Visit(MONDAY, False), Visit(date(2026, 7, 14), True)], "k")
    assert len(marks(svg, "dot")) == 2 and len(marks(svg, "dot hollow")) == 1
    assert "Came to 2 of 3. week of 29 Jun: 1 of 2; week of 13 Jul: 1 of 1" in svg


def test_one_more_is_named_and_several_are_counted():
    names = ["Ada", "Bo", "Cleo", "Dario", "Enid", "Femi"]
    assert few(names[:4], 4) == names[:4]
    assert few(names[:5], 4) == names[:5]
    assert few(names, 4) == [*names[:4], "2 more"]
