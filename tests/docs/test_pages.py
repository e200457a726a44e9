"""The manual's pages: built strictly, whole, and loading nothing from elsewhere."""

import re
from pathlib import Path

import pytest

pytest.importorskip("mkdocs", reason="the pages are built by MkDocs")

from mkdocs.commands.build import build
from mkdocs.config import load_config

ROOT = Path(__file__).parents[2]
LOADS = re.compile(r"""<(?:img|script|link|iframe|source)\b[^>]*?(?:src|href)=["']([^"']+)""")


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    out = tmp_path_factory.mktemp("pages")
    config = load_config(str(ROOT / "docs" / "site" / "mkdocs.yml"), site_dir=str(out))
    assert config.strict
    build(config)  # raises on a dead link or a page that is not in the list
    return out


def test_each_page_of_the_docs_is_a_page(site):
    pages = {p.relative_to(ROOT / "docs").with_suffix("") for p in ROOT.glob("docs/**/*.md")}
    made = {p.relative_to(site).with_suffix("") for p in site.rglob("*.html")}
    assert pages <= made and len(pages) > 30


def test_the_page_on_the_wheel_has_each_extra_as_it_is(site):
    from handbell.base import toml
    from handbell.base.extras import EXTRAS

    page = (ROOT / "docs" / "engineers" / "wheel.md").read_text(encoding="utf-8")
    names = {n: ", ".join(f"`{p}`" for p in extra.packages) for n, extra in EXTRAS.items()}
    assert all(f"| `{n}` | {EXTRAS[n].does} | {names[n]} |" in page for n in names)
    project = toml.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = project["optional-dependencies"]
    for name, extra in EXTRAS.items():
        assert [re.split("[<>=]=", one)[0] for one in asked[name]] == list(extra.packages)
    assert {*asked} - {"dev"} == {*EXTRAS}


def test_no_page_loads_anything_from_elsewhere(site):
    seen = 0
    for page in site.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        assert "<script" not in text and "//" not in "".join(LOADS.findall(text)), page
        for target in LOADS.findall(text):
            assert (page.parent / target).resolve().exists(), (page, target)
            seen += 1
    assert seen > 80
    assert "url(" not in (site / "style.css").read_text(encoding="utf-8")


def test_lists_and_their_commands_are_rendered_as_meant(site):
    """A list item that goes on after a gap stays in its list, and a command in it is code."""
    page = (site / "makers" / "measure.html").read_text(encoding="utf-8")
    order = page.split(">The order<")[1].split("<h2")[0]
    assert order.count("<ol>") == 1 and order.count("<li>") == 5
    assert "<code>handbell measure /dev/ttyACM0" in order
