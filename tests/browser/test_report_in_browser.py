"""The reports in a real browser: light, dark, on a phone and on paper, without a word of complaint.

HANDBELL_KEEP_PICTURES names a folder in which the pictures are left to be looked at, HANDBELL_AXE
the file axe.min.js of the accessibility checker axe-core.
"""

import html
import json
import os
import re
import shutil
from pathlib import Path

import classes
import pytest
import report_months as months
from conftest import PHONE_WIDE, on_phone
from PIL import Image

from handbell.report import class_report
from handbell.report.over_time.athlete import athlete_report
from handbell.report.over_time.group import group_report
from handbell.report.page import write_page
from handbell.store import open_store
from handbell.store.people.wearers import set_wearers

AT_US = (classes.START_UTC_MS + 900_000) * 1000
NAMES = {1: "Ada", 3: "Élodie of the very long double-barrelled name", 4: "נועה", 5: "<b>Co</b>"}
LIGHT, DARK = (246, 244, 239), (20, 24, 27)
IN_LIGHT, IN_DARK = (f"--blink-settings=preferredColorScheme={n}" for n in (1, 0))
KINDS = ("class", "athlete", "group")


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """A page of each kind; the class is one with cut logs, the months have two bibs a box."""
    folder = tmp_path_factory.mktemp("report")
    found = {kind: folder / f"{kind}.html" for kind in KINDS}
    with open_store(str(folder / "store.sqlite")) as store:
        for n, (box, data, run) in enumerate(classes.make_class(seed=3)):
            store.put_timeline(data)
            journal = classes.cut(run, 400_000) if n == 3 else run.journal
            store.ingest(journal, box, AT_US)
        set_wearers(store, 1, NAMES, [6])
        write_page(class_report(store), found["class"])
    with open_store(str(folder / "months.sqlite")) as store:
        months.fill(store, names={**months.NAMES, 2: "W" * 80, 3: "נועה"})
        write_page(athlete_report(store, "Ada"), found["athlete"])
        write_page(group_report(store), found["group"])
    return found


@pytest.fixture
def report(pages):
    return pages["class"]


def keep(picture: Path) -> None:
    folder = os.environ.get("HANDBELL_KEEP_PICTURES")
    if folder:
        shutil.copy(picture, folder)


def with_script(page: Path, script: str, to: Path) -> Path:
    """Copy a page with a script in it, which its own policy would refuse."""
    text = re.sub(r"<meta http-equiv[^>]*>", "", page.read_text(encoding="utf-8"))
    to.write_text(text.replace("</body>", f"<script>{script}</script></body>"), encoding="utf-8")
    return to


def asked_for(browser) -> set[str]:
    """Return what the browser asked anybody for, but for what it may still try of its own."""
    asked = set(re.findall(r'"url":"(https?://[^"]*)"', browser.net))
    own = ("google", "gvt1", "chromium.org")
    return {url for url in asked if not any(word in url for word in own)}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("name", "size", "flag", "paper"),
    [
        ("light", (1200, 1600), IN_LIGHT, LIGHT),
        ("dark-phone", (PHONE_WIDE, 3000), IN_DARK, DARK),
    ],
)
def test_pictures(browser, pages, tmp_path, kind, name, size, flag, paper):
    picture = tmp_path / f"report-{kind}-{name}.png"
    window = f"--window-size={size[0]},{size[1]}"
    shown = pages[kind]
    if size[0] == PHONE_WIDE:
        shown = tmp_path / "phone.html"
        shown.write_text(on_phone(pages[kind].read_text(encoding="utf-8"), size[1]), "utf-8")
    done = browser.run(shown, window, f"--screenshot={picture}", flag)
    assert "CONSOLE" not in done.stderr
    with Image.open(picture) as image:
        pixels = image.convert("RGB")
        assert pixels.size == size
        assert pixels.getpixel((3, 3)) == paper
        drawn = pixels.getcolors(1 << 24)
    assert len(drawn) > 50  # letters and bars, not an empty sheet
    assert asked_for(browser) == set()
    keep(picture)


def test_what_the_browser_made_of_it(browser, report):
    dom = browser.run(report, "--dump-dom").stdout
    assert "&lt;b&gt;Co&lt;/b&gt;" in dom and "<b>Co" not in dom
    assert dom.count("</table>") == 8


# Where each table's bars are: which are out of their cells or over their words, and their places.
PROBE_BARS = """
const found = {bars: 0, over: [], rows: [], columns: []};
for (const table of document.querySelectorAll(".exercise table")) {
  const columns = {};
  for (const row of table.tBodies[0].rows) {
    const tops = new Set();
    for (const bar of row.querySelectorAll("svg")) {
      const own = bar.getBoundingClientRect(), td = bar.parentNode;
      const cell = td.getBoundingClientRect(), words = document.createRange();
      words.selectNode(td.firstChild);
      const said = words.getBoundingClientRect();
      const apart = own.right <= said.left || own.left >= said.right || own.top >= said.bottom - 1;
      if (!apart || own.left < cell.left || own.right > cell.right || own.bottom > cell.bottom)
        found.over.push(td.textContent);
      tops.add(Math.round(own.top));
      (columns[td.cellIndex] ||= new Set()).add(`${Math.round(own.left)} ${Math.round(own.width)}`);
      found.bars += 1;
    }
    found.rows.push(tops.size);
  }
  found.columns.push(...Object.values(columns).map(places => places.size));
}
document.title = JSON.stringify(found);
"""


@pytest.mark.parametrize("width", [500, 1200])
def test_bars_line_up_and_stand_beside_or_under_their_own_words(browser, report, tmp_path, width):
    probe = with_script(report, PROBE_BARS, tmp_path / "bars.html")
    dom = browser.run(probe, f"--window-size={width},900", "--dump-dom").stdout
    found = json.loads(re.search(r"<title>(.*?)</title>", dom).group(1))
    assert found["bars"] > 100 and found["over"] == []
    assert max(found["rows"]) == 1 and set(found["columns"]) == {1}


# What is wider than the room it has; the list is opened first.
PROBE_WIDE = """
for (const list of document.querySelectorAll("details")) list.open = true;
const over = [document.documentElement, ...document.querySelectorAll(".wide, details, td, th")]
  .filter(part => part.scrollWidth > (part.clientWidth || innerWidth) + 1)
  .map(part => part.className + " " + part.textContent.trim().slice(0, 40));
const out = [...document.querySelectorAll("tbody td")]
  .filter(td => td.getBoundingClientRect().right > innerWidth).length;
parent.document.title = JSON.stringify({over, out, wide: innerWidth});
"""


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_scrolls_sideways_on_a_phone(browser, pages, tmp_path, kind):
    probe = with_script(pages[kind], PROBE_WIDE, tmp_path / "p.html")
    probe.write_text(on_phone(probe.read_text(encoding="utf-8")), encoding="utf-8")
    dom = browser.run(probe, "--dump-dom").stdout
    found = json.loads(html.unescape(re.search(r"<title>(.*?)</title>", dom, re.S).group(1)))
    assert found == {"over": [], "out": 0, "wide": PHONE_WIDE}


def axe_script() -> str:
    where = os.environ.get("HANDBELL_AXE", "")
    if not Path(where).is_file():
        pytest.skip("no axe-core: npm install axe-core, HANDBELL_AXE=its axe.min.js")
    return Path(where).read_text(encoding="utf-8")


RUN_AXE = """
axe.run({runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})
  .then(found => {
    const said = document.createElement("pre");
    said.id = "axe";
    said.textContent = JSON.stringify(
      [found.passes.length, found.violations.map(v => [v.id, v.nodes.map(n => n.html)])]);
    document.body.appendChild(said);
  });
"""


def axe_of(browser, page: Path, probe: Path, *flags: str) -> tuple[int, list]:
    with_script(page, axe_script() + RUN_AXE, probe)
    dom = browser.run(probe, "--virtual-time-budget=20000", "--dump-dom", *flags).stdout
    said = re.search(r'<pre id="axe">(.*?)</pre>', dom, re.S)
    assert said, "the checker did not come to its end"
    passes, violations = json.loads(html.unescape(said.group(1)))
    return passes, violations


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("flags", [("--window-size=1200,900", IN_LIGHT), ("--window-size=390,800", IN_DARK)])  # fmt: skip
def test_the_accessibility_checker_has_no_complaint(browser, pages, tmp_path, kind, flags):
    """axe-core: WCAG 2.0 to 2.2 A and AA, and its best practices."""
    passes, violations = axe_of(browser, pages[kind], tmp_path / "axe.html", *flags)
    assert violations == [] and passes > 30


def test_the_accessibility_checker_would_complain(browser, tmp_path):
    bad = tmp_path / "bad.html"
    bad.write_text("<html><body><img src='#'><p style='color:#aaa'>pale</p></body></html>", "utf-8")
    _, violations = axe_of(browser, bad, tmp_path / "axe.html")
    assert {"image-alt", "color-contrast", "html-has-lang"} <= {name for name, _ in violations}


def test_the_checks_above_would_see_a_complaint_and_a_request(browser, tmp_path):
    bad = tmp_path / "bad.html"
    bad.write_text("<script>console.log('hm')</script><img src='http://example.test/x'>", "utf-8")
    done = browser.run(bad, f"--screenshot={tmp_path / 'bad.png'}")
    assert "CONSOLE" in done.stderr
    assert "http://example.test/x" in asked_for(browser)


@pytest.mark.parametrize(
    ("kind", "sheet", "most"),
    [("class", "A4", 3), ("class", "Letter", 3), ("athlete", "A4", 2), ("group", "Letter", 2)],
)
def test_it_prints_on_both_kinds_of_paper(browser, pages, tmp_path, kind, most, sheet):
    sized = tmp_path / f"{sheet}.html"
    text = pages[kind].read_text(encoding="utf-8")
    sized.write_text(text.replace("@page { margin", f"@page {{ size: {sheet}; margin"), "utf-8")
    pdf = tmp_path / f"report-{kind}-{sheet}.pdf"
    done = browser.run(sized, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    assert "CONSOLE" not in done.stderr
    data = pdf.read_bytes()
    assert data.startswith(b"%PDF")
    boxes = set(re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data))
    wide = {"A4": 595, "Letter": 612}[sheet]
    assert boxes and all(abs(float(w) - wide) < 2 for w, _ in boxes)
    assert 2 <= data.count(b"/Type /Page\n") + data.count(b"/Type /Page ") <= most
    keep(pdf)
