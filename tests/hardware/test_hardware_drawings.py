"""Schematic and wiring picture: what they wire is box.toml, and their words stand free."""

import copy
import re
import xml.etree.ElementTree as ET
from itertools import combinations

import pytest

from handbell.base.errors import HandbellError
from hardware import picture
from hardware.drawn import Drawn
from hardware.load import box_of

pytest.importorskip("schemdraw", reason="schemdraw draws the schematic")
from hardware import schematic

DRAWINGS = {"schematic": schematic, "picture": picture}


@pytest.fixture(params=DRAWINGS)
def drawing(request):
    return DRAWINGS[request.param]


@pytest.fixture(params=["", "remote"], ids=["box", "remote"])
def box(data, request):
    return box_of(data, request.param)


def test_it_wires_what_the_source_says(drawing, box):
    made = drawing.draw(box)
    assert made.drawn.faults(box) == []
    assert set(made.drawn.ends) == {end for ends in box.net.values() for end in ends}


def test_a_net_changed_in_the_source_is_found_out(drawing, data):
    other = copy.deepcopy(data)
    other["net"]["GAUGE"].remove("C7.1")
    other["net"]["3V3"].append("C7.1")
    with pytest.raises(HandbellError, match=r"C7\.1 is drawn on net GAUGE"):
        drawing.svg(box_of(other))


def test_a_part_that_is_not_drawn_is_found_out(drawing, data):
    other = copy.deepcopy(data)
    other["part"]["R99"] = other["part"]["R9"]
    other["net"]["GND"].append("R99.2")
    other["net"]["LINE_COUPLED"].append("R99.1")
    with pytest.raises(HandbellError, match=r"R99\.2 is not drawn"):
        drawing.svg(box_of(other))


def test_a_missing_line_is_found_out(drawing, box):
    made = drawing.draw(box)
    whole = list(made.drawn.lines)
    found = 0
    tried = range(0, len(whole), 3)
    for at in tried:
        made.drawn.lines = whole[:at] + whole[at + 1 :]
        found += bool(made.drawn.faults(box))
    assert found >= 0.9 * len(tried)  # a line's end may lie on the next one


def test_a_line_across_is_found_out(drawing, box):
    made = drawing.draw(box)
    (x, y), (_, other_y) = made.drawn.ends["R11.1"], made.drawn.ends["R11.2"]
    made.drawn.line((x, y), (x, other_y))
    assert any("is drawn on net" in fault for fault in made.drawn.faults(box))


def test_nets_are_read_back_from_lines_and_names():
    drawn = Drawn(0.01)
    drawn.ends = {"A.1": (0, 0), "B.1": (4, 0), "C.1": (2, 3), "D.1": (9, 9), "E.1": (1, 1)}
    drawn.line((0, 0), (4, 0))
    drawn.line((2, 0), (2, 3))
    drawn.names = [("X", (4, 0)), ("X", (9, 9))]
    nets = drawn.nets()
    assert nets["A.1"] == nets["B.1"] == nets["C.1"] == nets["D.1"] != nets["E.1"]


def test_it_is_the_same_each_time_and_well_formed(drawing, box):
    made = drawing.svg(box)
    assert made == drawing.svg(box)
    assert ET.fromstring(made).tag.endswith("svg")
    assert not re.search(r"\d\.\d{5}", made)  # so that machines' roundings can't differ


def words_of(svg):
    """Return (words, left, top, right, bottom) of each line of text, roughly."""
    out = []
    for text in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        spans = list(text) or [text]
        size = float(text.get("font-size", "14").removesuffix("px"))
        x, y = float(text.get("x", 0)), float(text.get("y", 0))
        for span in spans:
            words = "".join(span.itertext()).strip()
            if not words:
                continue
            x = float(span.get("x", x))
            y += float(span.get("dy", 0)) if span is not text else 0
            wide = 0.6 * size * len(words)
            anchor = text.get("text-anchor", "start")
            left = x - {"start": 0, "middle": wide / 2, "end": wide}[anchor]
            out.append((words, left, y - 0.75 * size, left + wide, y + 0.2 * size))
    return out


def test_no_words_lie_on_others(drawing, box):
    found = [
        (one[0], other[0])
        for one, other in combinations(words_of(drawing.svg(box)), 2)
        if one[1] < other[3] and other[1] < one[3] and one[2] < other[4] and other[2] < one[4]
    ]
    assert found == []
