"""The report in a real browser: light, dark, on a phone and on paper, without a word of complaint.

HANDBELL_KEEP_PICTURES names a folder in which the pictures are left to be looked at.
"""

import os
import re
import shutil
from pathlib import Path

import classes
import pytest
from PIL import Image

from handbell.report import class_report
from handbell.report.page import write_page
from handbell.store import open_store
from handbell.store.wearers import set_wearers

AT_US = (classes.START_UTC_MS + 900_000) * 1000
NAMES = {1: "Ada", 3: "Élodie of the very long double-barrelled name", 4: "נועה", 5: "<b>Co</b>"}
LIGHT, DARK = (246, 244, 239), (20, 24, 27)


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    path = folder / "report.html"
    with open_store(str(folder / "store.sqlite")) as store:
        for n, (box, data, run) in enumerate(classes.make_class(seed=3)):
            store.put_timeline(data)
            journal = classes.cut(run, 400_000) if n == 3 else run.journal
            store.ingest(journal, box, AT_US)
        set_wearers(store, None, NAMES, [6])
        write_page(class_report(store), path)
    return path


def keep(picture: Path) -> None:
    folder = os.environ.get("HANDBELL_KEEP_PICTURES")
    if folder:
        shutil.copy(picture, folder)


@pytest.mark.parametrize(
    ("name", "size", "flags", "paper"),
    [
        ("light", (1200, 1600), ["--blink-settings=preferredColorScheme=1"], LIGHT),
        ("dark", (1200, 1600), ["--blink-settings=preferredColorScheme=0"], DARK),
        ("phone", (390, 1600), ["--blink-settings=preferredColorScheme=1"], LIGHT),
    ],
)
def test_pictures(browser, report, tmp_path, name, size, flags, paper):
    picture = tmp_path / f"report-{name}.png"
    done = browser.run(
        report, f"--window-size={size[0]},{size[1]}", f"--screenshot={picture}", *flags
    )
    assert "CONSOLE" not in done.stderr
    with Image.open(picture) as image:
        pixels = image.convert("RGB")
        assert pixels.size == size
        assert pixels.getpixel((3, 3)) == paper
        drawn = pixels.getcolors(1 << 24)
    assert len(drawn) > 50  # letters and bars, not an empty sheet
    keep(picture)


def test_the_browser_asks_nobody_for_anything(browser, report, tmp_path):
    browser.run(report, f"--screenshot={tmp_path / 'any.png'}")
    asked = set(re.findall(r'"url":"(https?://[^"]*)"', browser.net))
    own = ("google", "gvt1", "chromium.org")  # what the browser itself may still try
    assert {url for url in asked if not any(word in url for word in own)} == set()


def test_what_the_browser_made_of_it(browser, report):
    dom = browser.run(report, "--dump-dom").stdout
    assert dom.count("<svg") == 6
    assert "&lt;b&gt;Co&lt;/b&gt;" in dom and "<b>Co" not in dom
    assert dom.count("</table>") == 8


def test_nothing_is_wider_than_a_phone(browser, report, tmp_path):
    """The page itself never scrolls sideways; a wide table scrolls within itself."""
    probe = tmp_path / "probe.html"
    text = report.read_text(encoding="utf-8")
    text = re.sub(r"<meta http-equiv[^>]*>", "", text)
    over = "document.documentElement.scrollWidth - innerWidth"
    script = f"<script>document.title = 'over ' + ({over})</script>"
    probe.write_text(text.replace("</body>", script + "</body>"), encoding="utf-8")
    dom = browser.run(probe, "--window-size=390,800", "--dump-dom").stdout
    assert int(re.search(r"<title>over (-?\d+)</title>", dom).group(1)) <= 0


def test_the_checks_above_would_see_a_complaint_and_a_request(browser, tmp_path):
    bad = tmp_path / "bad.html"
    bad.write_text("<script>console.log('hm')</script><img src='http://example.test/x'>", "utf-8")
    done = browser.run(bad, f"--screenshot={tmp_path / 'bad.png'}")
    assert "CONSOLE" in done.stderr
    assert "http://example.test/x" in browser.net


@pytest.mark.parametrize("sheet", ["A4", "Letter"])
def test_it_prints_on_both_kinds_of_paper(browser, report, tmp_path, sheet):
    sized = tmp_path / f"{sheet}.html"
    text = report.read_text(encoding="utf-8")
    sized.write_text(text.replace("@page { margin", f"@page {{ size: {sheet}; margin"), "utf-8")
    pdf = tmp_path / f"report-{sheet}.pdf"
    done = browser.run(sized, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    assert "CONSOLE" not in done.stderr
    data = pdf.read_bytes()
    assert data.startswith(b"%PDF")
    boxes = set(re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data))
    wide = {"A4": 595, "Letter": 612}[sheet]
    assert boxes and all(abs(float(w) - wide) < 2 for w, _ in boxes)
    assert 2 <= data.count(b"/Type /Page\n") + data.count(b"/Type /Page ") <= 5
    keep(pdf)
