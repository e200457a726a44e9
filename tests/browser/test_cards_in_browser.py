"""Cards and timetable in a real browser, on both papers: nothing over the edge, large enough.

HANDBELL_KEEP_PICTURES names a folder in which the pictures are left to be looked at.
"""

import json
import os
import re
import shutil
from pathlib import Path

import pytest
from made_cards import LONG, longest, of_library, of_long_notes, with_own_tasks
from made_plans import EXAMPLES
from PIL import Image

from handbell.base.places import BROWSER
from handbell.cli.main import main
from handbell.coach.library.files import read_entries
from handbell.coach.library.shelf import Library
from handbell.compile import build
from handbell.paper.layout import PAPERS
from handbell.paper.page import cards_page, timetable_page
from handbell.paper.printing import COMMANDS
from handbell.plan.files import load_plan

LIBRARY = Library(*read_entries(None))
CAUTION = "Before hard exercise: a screening questionnaire for everybody."
PX_PER_MM = 96 / 25.4
# What sticks out of a sheet, and the size of the letters of each kind of text, in px.
PROBE = """<script>
const found = {over: [], sizes: {}, sheets: 0};
for (const sheet of document.querySelectorAll('.card, .lane, .timetable')) {
  const edge = sheet.getBoundingClientRect();
  found.sheets += 1;
  for (const part of sheet.querySelectorAll('div, span, b, td, th, h1, h2, p')) {
    const own = part.getBoundingClientRect();
    if (own.right > edge.right - 36 || own.bottom > edge.bottom - 36 || own.left < edge.left + 36)
      found.over.push(sheet.textContent.trim().slice(0, 60) + ' | ' + part.className);
    const cell = part.closest('td, th');
    if (cell && cell.scrollWidth > cell.clientWidth + 1) found.over.push(cell.textContent);
  }
  for (const part of sheet.querySelectorAll('div'))
    (found.sizes[part.className.split(' ')[0]] ||= []).push(
      parseFloat(getComputedStyle(part).fontSize));
}
document.title = JSON.stringify(found);
</script>"""


def keep(picture: Path, name: str) -> None:
    folder = os.environ.get("HANDBELL_KEEP_PICTURES")
    if folder:
        shutil.copy(picture, Path(folder) / name)


def probed(browser, folder, *pages, faces=("",)):
    """Return what the probe finds in pages, each set in each face of letters."""
    head, _ = re.sub(r"<meta http-equiv[^>]*>", "", pages[0]).split("<body>")
    sections = "".join(re.search(r"<body>(.*)</body>", page, re.S).group(1) for page in pages)
    copies = (f"<div style='font-family: {face}'>{sections}</div>" for face in faces)
    page = folder / "probe.html"
    page.write_text(f"{head}<body>{''.join(copies)}{PROBE}</body></html>", encoding="utf-8")
    dom = browser.run(page, "--dump-dom").stdout
    title = re.search(r"<title>(.*?)</title>", dom, re.S).group(1)
    return json.loads(title.replace("&amp;", "&").replace("&lt;", "<").replace("&gt;", ">"))


FACES = ("inherit", "DejaVu Sans")


@pytest.mark.parametrize("size", PAPERS)
def test_nothing_sticks_out_and_all_is_large_enough(browser, tmp_path, size):
    """Every exercise of the library, and the longest texts there can be, in two faces.

    NUREG-0700: a capital of 15 minutes of arc at least, at two metres, or one for the notes.
    """
    paper = PAPERS[size]
    made = [
        cards_page(built, library, paper)
        for built, library in (
            (of_library(LIBRARY), LIBRARY),
            (longest("lanes"), LIBRARY),
            (longest("rotation"), LIBRARY),
            (with_own_tasks(2, "rotation"), LIBRARY),
            (with_own_tasks(40, "rotation"), LIBRARY),
            (with_own_tasks(40, "lanes"), LIBRARY),
        )
    ]
    found = probed(browser, tmp_path, *(page for page, _ in made), faces=FACES)
    assert found["sheets"] == len(FACES) * sum(count for _, count in made)
    assert found["over"] == []
    capital = 0.685  # of the size, in the lowest of the usual faces
    for kind, sizes in found["sizes"].items():
        metres = 1 if kind == "notes" else 2
        assert min(sizes) / PX_PER_MM * capital >= metres * 1000 * 0.00436, kind
    kinds = {"name", "task", "easier", "harder", "mind", "line", "own", "notes"}
    assert kinds <= set(found["sizes"])


@pytest.mark.parametrize("size", PAPERS)
def test_a_coachs_own_long_notes_do_not_stick_out(browser, tmp_path, size):
    page, _ = cards_page(*of_long_notes(LONG, read_entries(None)), PAPERS[size])
    assert probed(browser, tmp_path, page, faces=FACES)["over"] == []


def test_a_capital_as_it_is_drawn(browser, tmp_path):
    """The H of a name, counted in rows of ink: at least 20 minutes of arc at 2 m."""
    built = build(load_plan(EXAMPLES["rotation"]))
    cards, _ = cards_page(built, LIBRARY, PAPERS["a4"])
    only_h = re.sub(r"<b>Box jump</b>", "<b>H</b>", cards)
    blank = "<style>.card > :not(.name) { visibility: hidden } section { box-shadow: none }</style>"
    page = tmp_path / "h.html"
    page.write_text(only_h.replace("</head>", blank + "</head>"), encoding="utf-8")
    picture = tmp_path / "h.png"
    browser.run(page, f"--screenshot={picture}", "--window-size=1300,830")
    with Image.open(picture) as image:
        dark = image.convert("L").point(lambda level: 255 if level < 90 else 0)
        _, top, _, bottom = dark.getbbox()
    assert (bottom - top) / PX_PER_MM >= 2000 * 0.00582


def test_the_probe_would_see_what_sticks_out(browser, tmp_path):
    cards, _ = cards_page(build(load_plan(EXAMPLES["rotation"])), LIBRARY, PAPERS["a4"])
    large = re.sub(r'(class="name" style="font-size: )[\d.]+mm', r"\g<1>190mm", cards)
    assert probed(browser, tmp_path, large)["over"]


@pytest.mark.parametrize(
    ("name", "size"), [("three-block", "a4"), ("harbour", "letter"), ("rotation", "a4")]
)
def test_printed(browser, tmp_path, monkeypatch, size, name):
    """The command's own PDF: the right paper, a page a card, the timetable on one."""
    browser_at = next(found for c in COMMANDS if (found := shutil.which(c)))
    monkeypatch.setenv(BROWSER, browser_at)
    words = ["cards", str(EXAMPLES[name]), "--size", size, "--pdf", "--out", str(tmp_path)]
    assert main(words) == 0
    paper = PAPERS[size]
    pages = (tmp_path / "cards.html").read_text(encoding="utf-8").count("<section")
    for stem, count, wide_mm, high_mm in (
        ("cards", pages, paper.wide_mm, paper.high_mm),
        ("timetable", 1, paper.high_mm, paper.wide_mm),
    ):
        data = (tmp_path / f"{stem}.pdf").read_bytes()
        boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
        assert len(boxes) == count, stem
        for wide, high in boxes:
            assert float(wide) * 25.4 / 72 == pytest.approx(wide_mm, abs=0.5)
            assert float(high) * 25.4 / 72 == pytest.approx(high_mm, abs=0.5)
        keep(tmp_path / f"{stem}.pdf", f"{name}-{stem}-{size}.pdf")


@pytest.mark.parametrize("size", PAPERS)
def test_the_timetable_in_a_browser(browser, tmp_path, size):
    classes = [build(load_plan(EXAMPLES[name])) for name in ("harbour", "rotation")]
    pages = [
        timetable_page(built, LIBRARY, PAPERS[size], CAUTION)[0]
        for built in (*classes, longest("rotation"), longest("lanes"))
    ]
    assert probed(browser, tmp_path, *pages, faces=FACES)["over"] == []


def test_pages_are_silent_and_ask_nobody(browser, tmp_path):
    built = build(load_plan(EXAMPLES["harbour"]))
    for n, page in enumerate(
        (
            cards_page(built, LIBRARY, PAPERS["a4"])[0],
            timetable_page(built, LIBRARY, PAPERS["a4"], CAUTION)[0],
        )
    ):
        path = tmp_path / f"{n}.html"
        path.write_text(page, encoding="utf-8")
        done = browser.run(path, f"--screenshot={tmp_path / 'any.png'}")
        assert "CONSOLE" not in done.stderr
        asked = set(re.findall(r'"url":"(https?://[^"]*)"', browser.net))
        own = ("google", "gvt1", "chromium.org")  # what the browser itself may still try
        assert {url for url in asked if not any(word in url for word in own)} == set()
