"""The pictures are of this case, and the build guide shows and says what is computed."""

import json
import re
from pathlib import Path

import pytest

pytest.importorskip("manifold3d", reason="the case is computed with manifold3d")
pytest.importorskip("PIL", reason="pictures are read with Pillow")

from PIL import Image

from hardware.case.build import Case
from hardware.case.pictures import FIGURES, PICTURES, REMOTE_PICTURES, figures
from hardware.case.remote import RemoteCase

ROOT = Path(__file__).resolve().parents[2]
IMAGES = ROOT / "docs" / "img"
GUIDE = ROOT / "docs" / "makers" / "build.md"


@pytest.fixture(scope="module")
def case():
    return Case.of()


@pytest.fixture(scope="module")
def remote():
    return RemoteCase.of()


@pytest.mark.parametrize("name", sorted(PICTURES | REMOTE_PICTURES))
def test_picture_is_of_this_case(case, remote, name):
    path = IMAGES / f"{name}.png"
    assert path.stat().st_size < 150_000
    made_of = json.loads(Image.open(path).text[FIGURES])
    now = figures(case if name in PICTURES else remote)
    assert set(made_of) == set(now), "run python -m hardware.case pictures"
    for part, numbers in now.items():
        assert made_of[part] == pytest.approx(numbers, rel=2e-3, abs=0.15), (
            f"{part} has changed: run python -m hardware.case pictures, and look at them"
        )


def test_rays_hit_what_is_in_front():
    pytest.importorskip("trimesh", reason="pictures are drawn with trimesh")
    pytest.importorskip("embreex", reason="pictures are drawn with embreex")
    from hardware.case.render import Piece, View
    from hardware.case.shapes import block

    red, blue = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
    near, far = block(0, 0, 0, 10, 10, 5), block(8, 0, 20, 20, 20, 5)
    view = View([Piece(near, red), Piece(far, blue)], 0, 0, 120)
    image = view.image()
    r, _, b = image.getpixel(tuple(map(round, view.pixel((0, 0, 0)))))
    assert r > 100 > b
    r, _, b = image.getpixel(tuple(map(round, view.pixel((14, 0, 20)))))
    assert b > 100 > r
    assert image.getpixel((1, 1)) == (255, 255, 255)
    # x of the frame is to the right as seen from behind, so to the left in front.
    assert view.pixel((14, 0, 20))[0] < view.pixel((0, 0, 0))[0]


def test_guide_and_readme_show_every_picture_and_none_is_missing():
    text = GUIDE.read_text(encoding="utf-8") + (ROOT / "README.md").read_text(encoding="utf-8")
    shown = set(re.findall(r"\((?:\.\./|docs/)img/([\w-]+)\.png\)", text))
    assert set(PICTURES | REMOTE_PICTURES) <= shown
    assert all((IMAGES / f"{name}.png").exists() for name in shown)


def test_what_glows_is_seen_only_where_nothing_is_before_it():
    pytest.importorskip("trimesh", reason="pictures are drawn with trimesh")
    pytest.importorskip("embreex", reason="pictures are drawn with embreex")
    import numpy as np

    from hardware.case.render import Piece, View
    from hardware.case.shapes import block

    def left_half(place):
        return np.where(place[:, :1] > 0, np.array([[0.0, 1.0, 0.0]]), 0.0)

    screen = Piece(block(0, 0, 10, 40, 20, 2), (0.2, 0.2, 0.2), glow=left_half)
    bar = Piece(block(0, 8, 0, 40, 6, 5), (1.0, 0.0, 0.0))
    view = View([screen, bar], 0, 0, 200)
    image = view.image()

    def at(x, y):
        return image.getpixel(tuple(map(round, view.pixel((x, y, 10)))))

    assert at(10, 0) == (0, 255, 0)
    assert max(at(-10, 0)) < 100
    assert at(10, 8)[0] > 100 > at(10, 8)[1]


def test_guide_says_what_is_computed(case):
    text = GUIDE.read_text(encoding="utf-8")
    said = re.search(r"about (\d+) g of filament", text)
    assert said and abs(int(said[1]) - case.plastic_g()) < 15
    screws = len(case.place.bosses)
    assert f"{screws} countersunk screws M3 x 12" in text
    for table in ("display_large", "button_large"):
        assert f"{table}" in text
    assert f"{case.own.load.foot_n} N" in text
    wide, high = (round(size + 2 * case.own.gaps.view_mm + 4, 1) for size in case.part.display.lit)
    assert f"{wide:g} x {high:g} mm" in text


def test_commands_in_the_guide_exist():
    from handbell.cli.main import main

    text = GUIDE.read_text(encoding="utf-8")
    for verb in set(re.findall(r"^ {4,}handbell (\w+)", text, re.MULTILINE)):
        with pytest.raises(SystemExit) as stopped:
            main([verb, "--help"])
        assert stopped.value.code == 0
