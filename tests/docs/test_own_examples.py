"""Examples are our own: no branded programme's signature reps, nor its cluster of names."""

import re
from pathlib import Path

import pytest

from handbell.work.trying.demo.play import plan_path

ROOT = Path(__file__).parents[2]
HOST = ROOT / "host" / "handbell"
SIGNATURE = re.compile(r"(?<!\d)21\W{1,4}15\W{1,4}9(?!\d)")
# Each is an ordinary name, and stays in the library; together they are one programme's vocabulary.
CLUSTER = re.compile(r"wall[- ]ball|thruster|double[- ]under|toes[- ]to[- ]bar|air squat", re.I)


def texts(*roots):
    found = [
        path
        for root in roots
        for path in sorted(ROOT.joinpath(root).rglob("*"))
        if path.suffix in {".md", ".toml", ".py", ".html"} and path != Path(__file__)
    ]
    assert len(found) > 10
    return found


def test_no_signature_reps_anywhere():
    for path in texts("docs", "host", "firmware", "tests", "hardware"):
        assert not SIGNATURE.search(path.read_text(encoding="utf-8")), path


PICTURES = ROOT / "tests" / "browser" / "report_pictures.py"
SHOWN = [
    ROOT / "docs",
    HOST / "coach" / "starters",
    HOST / "cli",
    HOST / "work",
    PICTURES,
    plan_path(),
]


@pytest.mark.parametrize("place", SHOWN, ids=lambda path: path.name)
def test_no_cluster_of_names_where_people_learn(place):
    read = [place] if place.is_file() else sorted(place.rglob("*"))
    read = [path for path in read if path.suffix in {".md", ".toml", ".py"}]
    assert read
    for path in read:
        if path.name == "loads.md":  # the whole library, in its order
            continue
        assert not CLUSTER.search(path.read_text(encoding="utf-8")), path


def test_the_pictures_of_reports_call_a_squat_a_squat():
    assert 'Piece("Squat", ' in PICTURES.read_text(encoding="utf-8")


def test_the_names_are_still_found():
    from handbell.coach.library.shelf import load_library

    library = load_library()
    for name in ("Wall ball", "Thruster", "Double-under", "Toes to bar", "Air squat"):
        assert library.find(name), name
