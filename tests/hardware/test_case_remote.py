"""The remote's case prints and fits; its buttons are told apart by feel; its light gets out."""

import copy
import math
import re
from itertools import combinations, pairwise

import pytest

pytest.importorskip("manifold3d", reason="the case is computed with manifold3d")

from manifold3d import Manifold, OpType

from hardware import emitters
from hardware.build import ROOT
from hardware.case import head
from hardware.case.lights import aimed, star
from hardware.case.remote import RemoteCase
from hardware.case.shapes import block, cone, post
from hardware.case.sizes import choices, part_sizes
from hardware.case.verdict import fitting, printing, remote_faults
from hardware.load import box_of, read
from hardware.netlist import Netlist


@pytest.fixture(scope="module")
def case():
    return RemoteCase.of()


def _sizes():
    return part_sizes(button="button_small", driver="driver_large")


def with_changes(**changes):
    part, own = copy.deepcopy(_sizes()), copy.deepcopy(choices())
    for name, value in changes.items():
        table, key = name.split("__")
        space = getattr(part, table, None) or getattr(own, table)
        assert hasattr(space, key)
        setattr(space, key, value)
    return RemoteCase(part, own)


def test_remote_has_no_fault(case):
    assert remote_faults(case) == []


@pytest.mark.parametrize(
    ("change", "asked", "words"),
    [
        ({"carrier__deep": 28.0, "board__deep": 40.0}, fitting, "carrier"),
        ({"charger__pcb": [28.0, 80.0]}, fitting, "charger"),
        ({"driver__deep": 24.0}, fitting, "driver"),
        ({"emitter__solder": 18.0}, fitting, "emitters"),
        ({"button__panel_most": 4.0}, fitting, "button: its thread takes 4.0 mm"),
        ({"switch__below": 60.0}, fitting, "switch"),
        ({"carrier__pcb": [140.0, 52.0]}, printing, "larger than the bed"),
    ],
)
def test_seeded_fault_is_named(change, asked, words):
    assert any(words in sentence for sentence in asked(with_changes(**change)))


def test_four_buttons_go_from_pause_to_stop_and_stop_stands_apart(case):
    across = [x for x, _ in case.place.buttons]  # to the left as seen from the front: x is mirrored
    gaps = [one - two for one, two in pairwise(across)]
    assert len(across) == box_of(read(), "remote").buttons == 4
    assert min(gaps[:2]) > case.part.button.collar and gaps[2] > gaps[1] == gaps[0]
    ridge = case.printed["ridge"]
    low, high = ridge.bounding_box()[2], ridge.bounding_box()[3]
    assert low <= -case.part.button.above / 2  # a thumb meets it before the button
    assert across[3] < case.place.ridge[0] < across[2] and high < across[2]


def test_a_thumb_counts_dimples_over_each_button(case):
    cut = case.printed["shell"].slice(0.4)
    for count, (x, y) in enumerate(case.place.buttons, 1):
        field = block(x, y + 21, 0, 24, 6, 1).slice(0.4)
        assert len((field - cut).decompose()) == count


def test_every_emitter_has_its_hole_and_lights_what_is_before_it(case):
    """Flush in the head, so that nothing of the remote is in its beam within 40 degrees."""
    seats = head.seats(case.part)
    assert len(seats) == len(Netlist(box_of(read(), "remote")).refs("emitter")) == 16
    solid = Manifold.batch_boolean(list(case.printed.values()), OpType.Add)
    for at, way in seats:
        beam = post(0, 0, 0.1, 60, 2.0)
        beam += cone(0, 0, head.WALL_MM, 22, 4, 4 + 2 * 20 * math.tan(math.radians(40)))
        lit = head.placed(aimed(beam, at, way), case.place.high, case.place.head)
        level = way[2] < 0.01
        dark = (lit ^ solid).volume() / lit.volume()
        assert dark < (0.12 if level else 0.01), way  # a level one sees the remote's edge below it
        assert (lit ^ case.bought["button"]).volume() < 0.01


def test_its_light_is_the_models(case):
    """Two rings of eight about an upright axis, the first emitter ahead, as halls were reckoned."""
    rings = [(many, up) for many, up in emitters.RINGS["remote"]]
    asked = [way for ring in rings for way in emitters.ring(*ring)]
    assert head.ways() == [pytest.approx(way) for way in asked]
    # The head's own upright axis is the remote's y; its sides face the face, the back and so on.
    x, y, z = head.placed_way(head.ways()[2])
    assert (x, y, z) == pytest.approx((0, 0, -1), abs=1e-9)  # out of the face


def test_stars_of_neighbours_do_not_touch(case):
    stars = [aimed(star(case.part), *seat) for seat in head.seats(case.part)]
    gaps = (one.min_gap(two, 5) for one, two in combinations(stars, 2))
    assert min(gaps) >= 0.5


def test_plug_and_lanyard_pass(case):
    y, z = case.place.usb
    wide, high = case.part.board.usb_plug
    plug = block(0, 0, 0, 8, wide - 0.2, high - 0.2).translate(
        (-case.place.half_wide, y, z - high / 2)
    )
    assert (plug ^ case.printed["shell"]).volume() < 0.01
    lanyard = block(0, -4, 0, 16, 3.5, 90)
    assert (lanyard ^ (case.printed["shell"] + case.printed["back"])).volume() < 0.01


def test_guide_says_what_is_computed(case):
    guide = " ".join((ROOT / "docs" / "makers" / "build.md").read_text(encoding="utf-8").split())
    said = re.search(r"about (\d+) g of filament, (\d+) x (\d+) x (\d+) mm", guide)
    assert said and abs(int(said[1]) - case.plastic_g()) < 10
    box = (case.printed["shell"] + case.printed["back"]).bounding_box()
    sides = [box[3] - box[0], case.place.high, box[5] - box[2]]
    assert [int(one) for one in said.groups()[1:]] == pytest.approx(sides, abs=1)
    screws = len(case.place.bosses)
    order = read()["variant"]["remote"]["part"]["X3"]["what"]
    assert f"{screws} inserts and {screws} countersunk screws" in order
    for picture in ("remote", "remote-parts"):
        assert f"(../img/{picture}.png)" in guide


def test_nothing_pointed_is_near_the_cell(case):
    assert case.bought["cell"].min_gap(case.bought["screws"], 20) >= 3
    assert case.bought["cell"].min_gap(case.bought["carrier"], 20) >= 1
