"""Draw the manual's pictures of reports anew: python tests/browser/report_pictures.py

Twelve weeks of a made-up class of twenty are put into a store, and its pages photographed.
"""

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent / "host"), str(HERE.parent)]

import report_months as months  # noqa: E402
from classes import Piece  # noqa: E402
from conftest import FLAGS  # noqa: E402
from PIL import Image  # noqa: E402

from handbell.report import class_report  # noqa: E402
from handbell.report.over_time.athlete import athlete_report  # noqa: E402
from handbell.report.over_time.group import group_report  # noqa: E402
from handbell.report.page import write_page  # noqa: E402
from handbell.store import open_store  # noqa: E402
from handbell_core import timeline as t  # noqa: E402

PEOPLE = (
    "Ada Bo Cleo Dario Enid Femi Gwen Hal Ines Jun Kofi Lena Mina Noor Otto Pia Quin Rosa Sven Tess"
)
PIECES = (
    (
        Piece("Burpee", 30),
        Piece("Push-up", 30, t.ASK_TARGET, goal=10),
        Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
    ),
    (
        Piece("Squat", 30, goal=14),
        Piece("Ring row", 30, t.ASK_TARGET, goal=12),
        Piece("Shuttle run", 30, t.ASK_TARGET, t.TAP_FINISH, 6),
    ),
)
# kind: the window, and whether it is dark
SHOTS = {
    "class": (1000, 1750, False),
    "athlete": (420, 1700, True),
    "group": (1000, 1500, False),
}


def main() -> None:
    out = HERE.parents[1] / "docs" / "img"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with open_store(str(folder / "store.sqlite")) as store:
            names = dict(enumerate(PEOPLE.split(), 1))
            months.fill(store, names=names, boxes=10, pieces=PIECES)
            write_page(class_report(store), folder / "class.html")
            write_page(athlete_report(store, "Ada"), folder / "athlete.html")
            write_page(group_report(store), folder / "group.html")
        for kind, (width, height, dark) in SHOTS.items():
            picture = folder / f"{kind}.png"
            command = [shutil.which("chromium") or "chromium", *FLAGS]
            command += [f"--user-data-dir={folder / kind}", f"--window-size={width},{height}"]
            command += [f"--blink-settings=preferredColorScheme={0 if dark else 1}"]
            page = (folder / f"{kind}.html").as_uri()
            shot = [*command, f"--screenshot={picture}", page]
            subprocess.run(shot, check=True, timeout=60, capture_output=True)
            with Image.open(picture) as image:
                image.convert("RGB").quantize(64).save(out / f"report-{kind}.png", optimize=True)


if __name__ == "__main__":
    main()
