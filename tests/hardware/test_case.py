"""The case prints, fits and holds; seeded faults are found and named."""

import copy
import math
from itertools import combinations

import pytest

pytest.importorskip("manifold3d", reason="the case is computed with manifold3d")

from handbell.base.errors import HandbellError
from hardware.case.build import Case
from hardware.case.checks import collisions, overhangs, thin
from hardware.case.loads import loads
from hardware.case.shapes import post
from hardware.case.sizes import choices, part_sizes
from hardware.case.verdict import faults, fitting, holding, printing


@pytest.fixture(scope="module")
def case():
    return Case.of()


def with_changes(**changes):
    """Return the reference case with single sizes changed, as cell__box=[78, 40]."""
    part, own = copy.deepcopy(part_sizes()), copy.deepcopy(choices())
    for name, value in changes.items():
        table, key = name.split("__")
        space = getattr(part, table, None) or getattr(own, table)
        assert hasattr(space, key)
        setattr(space, key, value)
    return Case(part, own)


def test_reference_case_has_no_fault(case):
    assert faults(case) == []


def test_case_for_a_foot_has_no_fault():
    assert faults(Case.of(button="button_large")) == []


def test_case_of_the_larger_display_fits():
    larger = Case.of(display="display_large")
    assert collisions(larger.printed | larger.bought) == []
    assert larger.place.view[1] > Case.of().place.view[1]


@pytest.mark.parametrize(
    ("change", "asked", "words"),
    [
        ({"walls__face_mm": 3.0}, holding, "face between columns"),
        ({"load__column_mm": 5.0}, holding, "columns"),
        ({"fixings__boss_mm": 7.0, "seal__squeeze": 0.1}, holding, "seal, sag"),
        ({"walls__side_mm": 1.0}, printing, "thinner than 1.2 mm"),
        ({"lamps__pcb": [220.0, 10.0]}, printing, "larger than the bed"),
        ({"print__overhang_deg": 30}, printing, "hang over without support"),
        ({"walls__face_mm": 7.0}, fitting, "button: its thread takes 6.0 mm"),
        ({"jack__panel_most": 2.0}, fitting, "jack: its thread takes 2.0 mm"),
        ({"cell__box": [78.0, 60.0]}, fitting, "cell"),
        ({"speaker__round": 70.0}, fitting, "speaker"),
        ({"driver__deep": 34.0}, fitting, "driver"),
        ({"emitter__star": 32.0}, fitting, "emitters"),
    ],
)
def test_seeded_fault_is_named(change, asked, words):
    assert any(words in sentence for sentence in asked(with_changes(**change)))


def test_missing_size_is_named(tmp_path):
    short = tmp_path / "box.toml"
    short.write_text("[size.board]\npcb = [51.0, 21.0]\n", encoding="utf-8")
    with pytest.raises(HandbellError, match=r"\[size\.board\].*thick, deep, usb_out"):
        part_sizes(path=short)


def test_case_follows_the_parts():
    base, deeper = Case.of(), with_changes(button__below=70.0)
    assert deeper.place.deep == base.place.deep + (70.0 + 3 - base.place.deep)
    wider = with_changes(lamps__pcb=[150.0, 10.0])
    assert wider.place.half_wide == pytest.approx(base.place.half_wide + (150 - 133.3) / 2)


def test_receivers_and_emitters_look_out_a_third_of_a_turn_apart(case):
    """Theirs is the model's ring of three; nothing of the box is in their way for 35 degrees."""
    from hardware import emitters
    from hardware.case.lights import aimed, seats

    found = seats(case.part, case.place)
    ((many, _),) = emitters.RINGS["box"]
    assert len(found) == many == 3
    for (_, _, one), (_, _, two) in combinations(found, 2):
        assert sum(a * b for a, b in zip(one, two, strict=True)) == pytest.approx(-0.5)
    shell = case.printed["shell"] + case.printed["back"]
    for star_at, receiver_at, way in found:
        ahead = post(0, 0, 0, 150, 6.0)  # past the back's ears too
        assert (
            aimed(ahead, star_at, way).translate([2.4 * one for one in way]) ^ shell
        ).volume() < 0.01
        for at, from_mm in ((star_at, case.part.emitter.over), (receiver_at, 1.2)):
            for turn in range(0, 360, 45):
                ray = post(0, 0, 0, 20, 1.0).rotate((35, 0, turn)).translate((0, 0, from_mm))
                assert (aimed(ray, at, way) ^ shell).volume() < 0.01, (at, way, turn)


def test_receivers_are_away_from_the_lamps(case):
    assert case.bought["receivers"].min_gap(case.printed["diffuser"], 100) >= 25


# ---------------------------------------------------------------- the checks themselves


def test_overhang_check_finds_a_mushroom_and_passes_a_cone():
    from hardware.case.shapes import cone

    mushroom = post(0, 0, 0, 10, 4) + post(0, 0, 10, 12, 20)
    found = overhangs(mushroom, 45)
    assert len(found) == 1
    assert found[0].flat
    assert found[0].area_mm2 == pytest.approx(math.pi * (100 - 4), rel=0.01)
    assert overhangs(cone(0, 0, 0, 10, 4, 23.9), 45) == []  # 45 degrees: 10 out on 10 up
    assert overhangs(cone(0, 0, 0, 10, 4, 30), 45) != []


def test_thin_check_finds_a_sheet_on_any_axis_and_passes_a_wall():
    from hardware.case.shapes import block

    base = block(0, 0, 0, 30, 30, 4)
    for sheet in (block(0, 0, 3, 0.9, 20, 15), block(0, 0, 3, 20, 0.9, 15)):
        assert thin(base + sheet, 1.2)
    assert thin(base + block(0, 0, 3, 1.4, 20, 15), 1.2) == []
    shelf = block(0, 0, 0, 4, 30, 20) + block(8, 0, 10, 20, 30, 0.9)
    assert thin(shelf, 1.2)


# ---------------------------------------------------------------- what people rely on


def test_a_foot_stands_on_the_columns_not_on_the_switch(case):
    # IEC 60601-1, foot-operated controls: 1350 N (from memory).
    assert case.own.load.foot_n >= 1350
    below = case.part.button.below
    assert case.place.deep - below >= 2.5  # the switch never reaches the back
    reach = case.part.button.collar / 2
    middle = case.place.button
    for column in case.place.columns:
        assert math.dist(column, middle) < reach  # under the collar that takes the foot
    for x, y in case.place.columns:
        slab = case.printed["shell"].slice(case.place.deep - 1)
        assert any(_inside(polygon, x, y) for polygon in slab.to_polygons())


def _inside(polygon, x, y):
    low, high = polygon.min(axis=0), polygon.max(axis=0)
    small = (high - low).max() < 16
    return small and low[0] < x < high[0] and low[1] < y < high[1]


def test_loads_by_formulas_written_out(case):
    by_name = {load.what: load.value for load in loads(case)}
    # 1350 N on 4 round columns of 14 mm.
    assert by_name["columns, pressed"] == pytest.approx(1350 / 4 / (math.pi * 49))
    # 500 N shear two faces of 5 x 8 mm.
    assert by_name["eye, torn out of the back"] == pytest.approx(6.25)
    # Beam with even load: 5 w L^4 / (384 E I), 66.45 mm between screws (Roark's table, from memory).
    inertia = 40 * 5**3 / 12
    sag = 5 * 0.5 * 66.45**4 / (384 * 1500 * inertia)
    assert by_name["seal, sag between screws"] == pytest.approx(sag, rel=0.01)


def test_nothing_sharp_or_pointed_is_near_the_cell(case):
    cell, screws = case.bought["cell"], case.bought["screws"]
    assert cell.min_gap(screws, 20) >= 3
    assert cell.min_gap(case.bought["carrier"], 20) >= 1
    # Every upright edge of the bay is round: shrinking and growing it changes next to nothing.
    bay = case.printed["back"].slice(case.place.deep - 9.5)
    blunt = bay.offset(-0.45).offset(0.45)
    sharp = (1 - math.pi / 4) * 0.45**2  # what one sharp corner would lose
    assert (bay - blunt).area() < 4 * sharp
    assert bay.area() > 100


def test_whole_display_is_seen_from_20_degrees_aside(case):
    own = case.own
    behind = own.walls.face_mm + own.gaps.part_mm - (own.walls.recess_mm - 1.2)
    assert behind * math.tan(math.radians(20)) <= own.gaps.view_mm + 0.1


def test_doors_look_down_and_let_a_plug_through(case):
    from hardware.case.shapes import block

    x, z = case.place.usb
    wide, high = case.part.board.usb_plug
    plug = block(0, 0, 0, high - 0.2, wide - 0.2, 8).rotate((90, 0, 0)).translate((x, 4, z))
    assert (plug ^ case.printed["shell"]).volume() < 0.01
    socket = case.place.carrier_y[0] - case.part.board.usb_out
    assert 0 <= socket - own_wall(case) <= 1.5  # from the wall's inside to the socket


def own_wall(case):
    return case.own.walls.side_mm


def test_seam_lies_under_a_lip_and_its_cord_is_squeezed(case):
    own = case.own
    deep = case.place.deep
    # Above the seam, beside the lug, shell is all round the back's edge.
    cut = case.printed["shell"].slice(deep + own.walls.back_mm - 0.5)
    top = case.place.high + case.place.rim
    high = max(polygon[:, 1].max() for polygon in cut.to_polygons())
    assert high == pytest.approx(top, abs=0.1)
    depth = own.seal.cord_mm * (1 - own.seal.squeeze)
    assert 0.2 <= 1 - depth / own.seal.cord_mm <= 0.35  # common practice for a still seal


def test_hook_strap_and_screws_pass(case):
    from hardware.case.outlines import eyes, slots, wall_screws
    from hardware.case.shapes import block

    both = case.printed["shell"] + case.printed["back"]
    found = eyes(case.part, case.place)
    assert [wide for _, _, wide in found] == [13, 7, 7]  # a hook of 12, a line of 6
    for x, y, wide in found:
        assert (both ^ post(x, y, 0, 80, wide - 0.2)).volume() < 0.01
    strap, thick = case.part.mounting.strap
    for x, y in slots(case.part, case.place):
        # Threaded from 30 mm before the ear on: before that is the bay of receiver and emitter.
        assert (both ^ block(x, y, 30, thick, strap, 80)).volume() < 0.01
    for x, y in wall_screws(case.part, case.place):
        assert (both ^ post(x, y, 0, 80, 4.8)).volume() < 0.01
