"""Building the image: what is missing is said; what is laid out and gathered; the real build."""

import os
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from handbell.base.errors import HandbellError
from handbell.boxes.firmware import uf2
from image import build, licences, sources

BOOT = (Path(build.__file__).with_name("boot.py")).read_text(encoding="utf-8")


@pytest.fixture
def micropython_source(tmp_path, monkeypatch):
    """A tree that looks like MicroPython's, and a computer that has all programs."""
    root = tmp_path / "mp"
    files = {f"{name}/{file}": "" for name, file in sources.SUBMODULES.items()}
    files |= {"ports/rp2/CMakeLists.txt": "", "py/mpconfig.h": header("1", "28", "0")}
    for path, text in files.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(text)
    monkeypatch.setattr("shutil.which", lambda name: f"/bin/{name}")
    return root


def header(*numbers, pre="0"):
    named = zip(("MAJOR", "MINOR", "MICRO", "PRERELEASE"), (*numbers, pre), strict=True)
    return "".join(f"#define MICROPY_VERSION_{part} {number}\n" for part, number in named)


def test_a_tree_and_a_computer_that_have_all_of_it_are_taken(micropython_source):
    sources.check(micropython_source)


def test_what_is_missing_is_said_with_what_to_do(micropython_source, monkeypatch, tmp_path):
    with pytest.raises(HandbellError, match=r"is no source of MicroPython\. Get it: git clone"):
        sources.check(tmp_path / "nowhere")
    (micropython_source / "lib/tinyusb/src/tusb.h").unlink()
    (micropython_source / "lib/mbedtls/include/mbedtls/version.h").unlink()
    with pytest.raises(HandbellError, match="submodule update --init lib/mbedtls lib/tinyusb"):
        sources.check(micropython_source)


def test_another_version_is_refused(micropython_source):
    for text, version in (
        (header("1", "27", "0"), "1.27.0"),
        (header("1", "28", "0", pre="1"), "1.28.0-preview"),
    ):
        (micropython_source / "py/mpconfig.h").write_text(text)
        with pytest.raises(HandbellError, match=f"is MicroPython {version}, and the image"):
            sources.check(micropython_source)


def test_programs_that_are_missing_are_named_with_their_packages(micropython_source, monkeypatch):
    monkeypatch.setattr("shutil.which", lambda name: None if "-" in name else name)
    with pytest.raises(HandbellError, match=r"arm-none-eabi-gcc.*apt install gcc-arm-none-eabi"):
        sources.check(micropython_source)


def test_without_a_place_the_command_says_what_to_give(capsys):
    assert build.main([""]) == 2
    assert "make image MICROPYTHON=" in capsys.readouterr().out


def test_what_is_frozen_is_the_firmware_with_its_constants_put_in(tmp_path):
    version, name = build.lay_out(tmp_path / "tree")
    (tmp_path / "tree/stray.py").write_text("")
    assert build.lay_out(tmp_path / "tree") == (version, name), "the same each time"
    assert not (tmp_path / "tree/stray.py").exists()
    assert f'FIRMWARE = "{version}"' in (tmp_path / "tree/box/__init__.py").read_text()
    assert "TOO_LATE_US" not in (tmp_path / "tree/box/app.py").read_text()
    manifest = (tmp_path / "tree/manifest.py").read_text()
    frozen = {"include": [], "package": [], "module": []}
    calls = {
        call: lambda path, base_path="", opt=0, call=call: frozen[call].append(path)
        for call in frozen
    }
    exec(compile(manifest, "manifest", "exec"), calls)
    assert frozen["package"] == ["box", "boards", "handbell_core"]
    assert frozen["module"] == ["begin.py", "boot.py", "image_name.py", "main.py"]


@pytest.fixture
def board(tmp_path, micropython):
    """Start an image of some name on a board: a folder; returns what it printed."""
    flash = tmp_path / "flash"
    flash.mkdir()

    def start(name, more=""):
        frozen = tmp_path / name
        frozen.mkdir(exist_ok=True)
        (frozen / "image_name.py").write_text(f"NAME = {name!r}\n")
        done = subprocess.run(
            [*micropython, "-c", BOOT + more],
            cwd=flash,
            env={"MICROPYPATH": f":.frozen:{frozen}"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert not done.returncode, done.stderr
        return flash

    return start


def test_a_new_image_goes_before_older_files_once(board):
    flash = board("first")
    (flash / "trial").write_text("fw_b2")
    (flash / "active").write_text("fw_a")
    (flash / "box.json").write_text("{}")
    board("first")
    assert (flash / "active").exists(), "put there after this image came"
    board("second")
    assert not (flash / "active").exists() and not (flash / "trial").exists()
    assert (flash / "image").read_text() == "second"
    assert (flash / "box.json").exists()
    (flash / "active").write_text("fw_b")
    board("second", "print('later')")
    assert (flash / "active").exists()


def test_what_is_in_the_image_goes_before_stray_files(board, tmp_path):
    flash = board("first", "import sys\nprint(sys.path)\nassert sys.path[0] == '.frozen'\n")
    assert flash.exists()


def test_cut_off_before_it_is_noted_the_next_start_does_it_again(board):
    flash = board("first")
    (flash / "active").write_text("fw_a")
    (flash / "image.new").write_text("seco")  # torn
    board("second")
    assert not (flash / "active").exists() and (flash / "image").read_text() == "second"


# Licences


def compiled(tmp_path, *files):
    """A MicroPython tree of some files, all of which a build says it used."""
    root, work = tmp_path / "mp", tmp_path / "work"
    for path, text in files:
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_text(text)
    (root / "lib/micropython-lib").mkdir(parents=True, exist_ok=True)
    (root / "LICENSE").write_text("The terms of the runtime")
    (root / "lib/micropython-lib/LICENSE").write_text("The terms of its library")
    work.mkdir(exist_ok=True)
    used = " \\\n ".join(str(root / path) for path, _ in files if path.endswith((".c", ".h")))
    (work / "all.o.d").write_text(f"all.o: {used}\n")
    (tmp_path / "ours").write_text("Our terms")
    return root, work, tmp_path / "ours"


def test_licences_are_those_of_what_was_compiled(tmp_path):
    text = licences.gather(
        *compiled(
            tmp_path,
            ("lib/one/LICENSE.TXT", "The terms of one"),
            ("lib/one/src/deep/one.c", "int one;"),
            ("lib/one/src/COPYING", "Further terms"),
            ("lib/two/two.h", "/* Copyright of two\n * SPDX-License-Identifier: MIT */\nint x;"),
            ("lib/two/other.c", "// Copyright of two's other\n// more\nint y; // Copyright no"),
            ("lib/unused/LICENSE", "The terms of what is not in it"),
        )
    )
    for piece in (
        "Our terms",
        "The terms of the runtime",
        "The terms of its library",
        "The terms of one",
        "Further terms",
        "Copyright of two\n",
        "Copyright of two's other",
        "The terms MIT are those that stand at MicroPython",
    ):
        assert piece in text, piece
    assert "not in it" not in text and "Copyright no" not in text


def test_a_part_without_terms_stops_the_build(tmp_path):
    with pytest.raises(HandbellError, match="one has no licence that could be found"):
        licences.gather(*compiled(tmp_path, ("lib/one/one.c", "int one;")))


def test_a_build_that_says_nothing_of_its_files_stops(tmp_path):
    with pytest.raises(HandbellError, match="does not say of what"):
        licences.gather(*compiled(tmp_path))


# The board's files


def elf(place, size, end):
    """A 32-bit ELF program with what MicroPython keeps of its files at 0x20001310."""
    head = bytearray(52)
    struct.pack_into("<I", head, 28, 52)
    struct.pack_into("<2H", head, 42, 32, 2)
    loads = struct.pack("<8I", 1, 200, 0x10000000, 0, 8, 8, 5, 4)
    loads += struct.pack("<8I", 1, 208, 0x20001300, 0, 64, 64, 6, 4)
    body = bytes(8) + bytes(16) + struct.pack("<3I", 0x1004A9EC, place, size) + bytes(36)
    return (bytes(head) + loads).ljust(200, b"\0") + body


@pytest.mark.parametrize(
    ("place", "size", "end", "why"),
    [
        (0xA0000, 352 * 4096, 0x10060000, None),
        (0xA0000, 352 * 4096, 0x100A0000, None),
        (0x100000, 256 * 4096, 0x10060000, "would lose its files"),
        (0xA0000, 351 * 4096, 0x10060000, "would lose its files"),
        (0xA0000, 352 * 4096, 0x100A0004, "655364 bytes, 655360 is the most"),
    ],
)
def test_an_image_that_would_move_the_board_s_files_is_refused(
    tmp_path, monkeypatch, place, size, end, why
):
    (tmp_path / "a.elf").write_bytes(elf(place, size, end))
    listed = f"20001310 t rp2_flash_obj\n{end:08x} N __flash_binary_end\n"
    monkeypatch.setattr(
        subprocess, "run", lambda *_, **__: subprocess.CompletedProcess([], 0, listed)
    )
    if why is None:
        build.check_files_place(tmp_path / "a.elf")
        return
    with pytest.raises(HandbellError, match=why):
        build.check_files_place(tmp_path / "a.elf")


@pytest.mark.skipif(
    "MICROPYTHON" not in os.environ, reason="MICROPYTHON names no source: see docs/makers/image.md"
)
def test_the_image_is_built(tmp_path):
    """Some minutes; what it makes is read by the same checks that prepare makes."""
    done = subprocess.run(
        [sys.executable, "-m", "image.build", os.environ["MICROPYTHON"], "--out", str(tmp_path)],
        cwd=build.ROOT,
        check=False,
    )
    assert not done.returncode
    (path,) = tmp_path.glob("*.uf2")
    image = uf2.read_image(path)
    text = path.with_name(f"{path.stem}-licences.txt").read_text(encoding="utf-8")
    for part in ("lib/pico-sdk", "lib/tinyusb", "lib/littlefs", "lib/mbedtls", "MicroPython"):
        assert f"\n{part}\n" in text, part
    assert 300_000 < len(image.flash) < 500_000
