"""The benchmark of the store: runs, counts what it made, and writes into its page."""

import sys
from pathlib import Path

import pytest

BENCH = Path(__file__).parents[1] / "bench"


@pytest.fixture
def bench(monkeypatch):
    pytest.importorskip("pandas", reason="pip install pandas")
    monkeypatch.syspath_prepend(str(BENCH))
    monkeypatch.delitem(sys.modules, "store", raising=False)
    import store

    yield store
    sys.modules.pop("store", None)


def test_a_small_run_is_measured_and_written_into_the_page(bench, tmp_path, capsys):
    page = tmp_path / "page.md"
    page.write_text(f"Before.\n{bench.BEGIN}\nold\n{bench.END}\nAfter.\n", encoding="utf-8")
    bench.main(["--taps", "2000", "--only", "sqlite", "--write", str(page)])
    said = capsys.readouterr().out
    text = page.read_text(encoding="utf-8")
    assert said.strip() in text and "old" not in text
    assert text.startswith("Before.\n") and text.endswith("After.\n")
    rows = [line.split("|")[1].strip() for line in said.splitlines() if line.startswith("|")]
    assert rows == ["", "---", "pandas", "sqlite", "budget for a million"]


def test_the_page_in_the_docs_has_its_marks(bench):
    text = (BENCH.parents[1] / "docs" / "engineers" / "store.md").read_text(encoding="utf-8")
    assert text.count(bench.BEGIN) == text.count(bench.END) == 1
