"""From light to acts: chances, times, slots, eyes and batteries; figures of the page."""

import itertools
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from handbell.base.errors import HandbellError
from handbell_core.bursts_out import lasts_us
from handbell_core.slots import TOLD_MS
from hardware.infrared import acts, made, safety, study
from hardware.infrared.hall import CHEST, STAND, draw
from hardware.infrared.light import Lantern, ring
from hardware.infrared.parts import BEAM, WIDE
from hardware.infrared.ranges import RANGES, Case, case_of, mean_case, needs_mw_m2

PAGE = Path(__file__).parents[2] / "docs" / "engineers" / "infrared.md"
SHADE = np.zeros(1, dtype=bool)


def test_a_telegram_lasts_as_long_as_the_sender_takes():
    assert pytest.approx(lasts_us(bytes(16)) / 1000, abs=0.5) == acts.SHORTEST_MS
    assert pytest.approx(lasts_us(b"\xff" * 16) / 1000, abs=0.5) == acts.LONGEST_MS


def test_half_the_telegrams_come_at_the_least_light_and_all_but_the_lost_ones_far_above():
    light = np.array([[0.05], [0.2], [0.2 * 10**0.1], [20.0]])
    found = acts.chance(light, np.full(4, 0.2), 0.02)
    # by hand: 0.98 times the normal distribution at -6 dB, 0, 1 dB, much
    assert found == pytest.approx([0, 0.49, 0.98 * 0.8413, 0.98], abs=1e-4)


def test_a_box_goes_by_the_best_of_its_receivers():
    both = acts.chance(np.array([[0.01, 1.0]]), np.array([0.2]), 0)
    assert both == acts.chance(np.array([[1.0]]), np.array([0.2]), 0)


def test_noises_add_as_squares():
    quiet = case_of(0).values | {"least_mw_m2": 0.2, "daylight_w_m2": 3.0, "lamps": 1.0}
    # by hand: root of 1 + 3; root of 1 + 3 + (9 - 1); root of 1 + 30 in the sun
    assert needs_mw_m2(Case(quiet), SHADE) == pytest.approx([0.4])
    assert needs_mw_m2(Case(quiet | {"lamps": 3.0}), SHADE) == pytest.approx([0.2 * math.sqrt(12)])
    assert needs_mw_m2(Case(quiet), ~SHADE) == pytest.approx([0.2 * math.sqrt(31)])


def test_all_have_heard_is_the_product_of_boxes_that_heard_once():
    told = np.array([[0.5, 0.9], [0.5, 0.0]])
    assert acts.all_heard(told, 2) == pytest.approx(0.75 * 0.9)
    assert acts.all_heard(told, 1) == pytest.approx(0.75)


def test_five_telegrams_have_ended_within_3_s():
    ends = acts.ends_ms(acts.WITHIN_MS)
    assert [round(ms - acts.LONGEST_MS) for ms in ends] == list(TOLD_MS[:5])
    assert acts.ends_ms(14_000)[-1] == pytest.approx(TOLD_MS[-1] + 5_000 + acts.LONGEST_MS)


def test_every_range_goes_from_good_to_bad_through_its_middle():
    for each in RANGES.values():
        low, high = sorted((each.good, each.bad))
        assert low <= each.middle <= high, each.what
        assert each.source
    for _ in range(20):
        drawn = mean_case(np.random.default_rng(2))
        assert drawn.wide_m <= drawn.long_m


# Slots


def heard(by_remote, between, until_ms=20_000, boxes=4, times=2):
    slots = acts.Slots(boxes=boxes, times=times)
    return slots.heard_ms(by_remote, between, until_ms, np.random.default_rng(0))


def test_a_slot_holds_the_longest_telegram_its_dark_and_two_clocks_that_are_off():
    assert acts.LONGEST_MS + acts.DARK_MS + 2 * acts.CLOCK_MS <= acts.SLOT_MS == 230


def test_nobody_repeats_what_he_has_not_heard():
    nothing = heard(np.zeros((6, 4)), np.ones((4, 4)))
    assert np.isinf(nothing).all()


def test_one_who_heard_tells_those_who_hear_only_him():
    by_remote = np.zeros((6, 4))
    by_remote[:, 0] = 1
    between = np.zeros((4, 4))
    between[0, 1:3] = 1
    found = heard(by_remote, between)
    assert found[0] < found[1] == found[2] < acts.SLOT_MS * 8
    assert np.isinf(found[3])


def test_a_chain_of_boxes_passes_an_act_on():
    by_remote = np.zeros((6, 4))
    by_remote[:, 0] = 1
    between = np.diag(np.ones(3), 1)
    assert np.isfinite(heard(by_remote, between)).all()


def test_a_box_repeats_no_oftener_than_it_is_to():
    by_remote = np.zeros((1, 2))
    by_remote[:, 0] = 1
    weak = np.array([[0, 0.0], [0, 0]])
    weak[0, 1] = 0.3
    rng = np.random.default_rng(5)
    got = [
        np.isfinite(acts.Slots(boxes=2, times=times).heard_ms(by_remote, weak, 3_000, rng)[1])
        for times in (1, 2)
        for _ in range(1000)
    ]
    # by hand: 0.3 of all by one try, 1 - 0.7^2 by two
    assert np.mean(got[:1000]) == pytest.approx(0.3, abs=0.05)
    assert np.mean(got[1000:]) == pytest.approx(0.51, abs=0.05)


# Halls


def test_more_light_and_more_receivers_never_do_worse():
    rng = np.random.default_rng(8)
    hall = draw(rng, case_of(0.5), receivers=3)
    few = Lantern("few", WIDE, 500, ring(6, 20))
    more = Lantern("more", WIDE, 1000, ring(6, 20))
    dim, bright = (hall.told(each, STAND, 1, rng)[0] for each in (few, more))
    assert bright == pytest.approx(2 * dim)
    chances = [acts.chance(x, hall.needs_mw_m2, 0.02) for x in (dim, bright)]
    assert (chances[1] >= chances[0]).all() and chances[1].sum() > chances[0].sum()
    assert (acts.chance(bright[:, :1], hall.needs_mw_m2, 0.02) <= chances[1]).all()


@pytest.mark.parametrize(
    "names",
    [
        ("least_mw_m2", "daylight_w_m2", "lamps", "spread", "battery", "windows", "lost"),
        ("wall", "ceiling", "floor"),
        ("body_m",),
    ],
    ids=lambda names: names[0],
)
def test_a_worse_range_never_does_better_in_the_same_hall(names):
    for name in names:
        shares = []
        for worse in ((), (name,)):
            rng = np.random.default_rng(21)
            case = case_of(0, worse)
            hall = draw(rng, case)
            light = hall.told(study.LANTERNS[3], STAND, 1, rng)
            shares.append(acts.chance(light, hall.needs_mw_m2, case.lost))
        assert (shares[1] <= shares[0] + 1e-9).all(), name


def test_a_bearer_takes_light_from_what_is_behind():
    rng = np.random.default_rng(6)
    hall = draw(rng, case_of(0))
    alone = replace(CHEST, bearer=False)
    held, bare = (hall.told(study.CHOSEN, how, 1, rng).sum() for how in (CHEST, alone))
    assert held < bare


def test_three_boxes_in_ten_get_most_of_their_light_by_way_of_the_walls():
    bare = dict.fromkeys(("wall", "floor", "ceiling"), 0.0)
    shares = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        hall = draw(rng, case_of(0), receivers=3)
        light = hall.told(study.CHOSEN, STAND, 1, rng)[0]
        dull = replace(hall, case=Case(hall.case.values | bare))
        best = np.arange(len(light)), light.argmax(axis=1)
        shares += list(dull.told(study.CHOSEN, STAND, 1, rng)[0][best] / light[best])
    assert np.mean(np.array(shares) < 0.5) == pytest.approx(0.3, abs=0.06)


def test_boxes_hear_each_other_but_not_themselves():
    hall = draw(np.random.default_rng(6), case_of(0), boxes=6, receivers=3)
    between = hall.between(study.REPEATER)
    assert between.shape == (6, 6, 3)
    for one, other in itertools.product(range(6), repeat=2):
        assert (between[one, other].max() > 0) == (one != other)


def test_everything_drawn_lies_in_the_hall():
    for seed in range(10):
        hall = draw(np.random.default_rng(seed), mean_case(np.random.default_rng(seed)))
        assert (hall.boxes >= 0).all() and (hall.boxes <= hall.room.size).all()
        assert (hall.at > 0).all() and (hall.at < hall.room.size[:2]).all()
        assert np.linalg.norm(hall.looks, axis=-1) == pytest.approx(1)


# Eyes and batteries


def test_the_retinas_limit_is_that_of_the_makers_example():
    # External: Osram's note on eye safety: 545.5 mW/mm2/sr for one small emitter over 1000 s
    assert safety.retina_w_m2_sr(0.001) / 1000 == pytest.approx(545.5, abs=0.1)


@pytest.mark.parametrize("lantern", [study.CHOSEN, study.REPEATER], ids=lambda each: each.name)
def test_what_is_built_is_exempt_even_if_it_stays_lit(lantern):
    found = safety.eye(lantern)
    assert found.exempt and found.telegram_w_m2 < 0.1 * safety.CORNEA_W_M2


def test_a_brighter_lantern_is_not_exempt():
    thrice = Lantern("48", BEAM, 1000, ring(8, 0) * 3)
    assert not safety.eye(thrice).exempt


def test_an_eye_gets_what_one_emitter_gives_at_200_mm():
    one = safety.eye(Lantern("one", BEAM, 1000, ((0.0, 0.0),)))
    assert one.peak_w_m2 == pytest.approx(1.120 / 0.2**2)  # by hand: 28 W/m2, the brightest sold


def test_a_battery_gives_the_current_of_its_strings_while_they_are_lit():
    # by hand: 65 bursts of 16 cycles and one of 34, a third lit, at 38 kHz: 9.42 ms
    assert safety.lit_ms() == pytest.approx(1074 / 3 / 38)
    taken = safety.draw(study.CHOSEN, series=4)
    assert taken.peak_a == pytest.approx(4)
    assert taken.telegram_mas == pytest.approx(4 * 9.421, rel=1e-3)


def test_the_pages_figures_of_the_drivers_are_reckoned_so():
    said = PAGE.read_text("utf-8").partition("## Eyes")[2]
    burst_mc = 16 / 38 / 3  # 1 A, 16 cycles at 38 kHz, a third of each lit
    assert f"takes {burst_mc:.2f} mC of a box's 2200 uF" in said
    assert (
        f"sag by {burst_mc / 2.2:.2f} V" in said and f"{3 * 3.2:.1f} V at most, on 11.0 V" in said
    )
    assert f"{4 * BEAM.volt:.1f} V typically, {4 * 3.2:.1f} V at most" in said  # 3.2 V: SFH 4726S
    eye = safety.eye(study.CHOSEN)
    assert round(eye.peak_w_m2 / eye.telegram_w_m2) == 14 and "a fourteenth" in said


# The page


@pytest.mark.parametrize("name", made.fixed())
def test_the_pages_tables_are_current(name):
    """Those that no drawn hall changes; the others are sampled below."""
    text = PAGE.read_text(encoding="utf-8")
    assert made.put(text, {name: made.fixed()[name]}) == text, "python -m hardware.infrared write"


def test_a_page_without_a_tables_place_is_told():
    with pytest.raises(HandbellError, match="0 places"):
        made.put("no markers", {"parts": "| a |"})


def rows(name):
    block = re.search(f"<!-- made: {name} -->\n(.*?)<!-- end -->", PAGE.read_text("utf-8"), re.S)
    lines = [line.strip("| ").split(" | ") for line in block[1].splitlines()]
    return lines[0], lines[2:]


def share(cell):
    return float(cell.rstrip("%")) / 100


@pytest.mark.parametrize("case", study.CASES)
def test_the_pages_chances_come_out_of_other_halls_too(case):
    """Six halls of another seed: within four errors of their mean."""
    heads, lines = rows("alone")
    column = heads.index(f"a telegram comes to a box, {case}")
    found = study.told(study.CASES[case], 6, 77, (study.CHOSEN,))
    for line in lines:
        if line[0] != study.CHOSEN.name:
            continue
        tally = found[study.CHOSEN.name, int(line[1])]
        near = 4 * float(np.std(tally.once)) / math.sqrt(len(tally.once)) + 0.005
        assert np.mean(tally.once) == pytest.approx(share(line[column]), abs=near)


def cell(name, column, *begins):
    heads, lines = rows(name)
    return next(line[heads.index(column)] for line in lines if line[: len(begins)] == list(begins))


def test_what_is_decided_says_what_the_tables_say():
    said = PAGE.read_text("utf-8").partition("## Decided")[2].partition("\n## ")[0]
    chosen, small = study.CHOSEN.name, study.SMALL_RING.name
    soon, light = "all 24 in 3 s", "light needed, times this, bad"
    for name, column, *begins in (
        ("alone", f"{soon}, bad", chosen, "3"),
        ("alone", light, chosen, "1"),
        ("alone", light, chosen, "3"),
        ("alone", "a telegram comes to a box, mean", small, "1"),
        *(("slots", soon, "mean", many, again) for many in "13" for again in ("no", "yes")),
        *(("slots", soon, "hard", many, again) for many in "13" for again in ("no", "yes")),
        ("slots", "all 24 in 10 s", "hard", "3", "yes"),
        ("slots", soon, "bad", "3", "yes"),
        ("slots", "all 24 in 20 s", "bad", "3", "yes"),
        ("weak", soon, "mean", "3"),
        ("weak", "all 24 in 10 s", "mean", "3"),
    ):
        assert re.search(rf"(?<![\d.]){re.escape(cell(name, column, *begins))}", said), begins
    assert min(share(line[2]) for line in rows("worse")[1]) >= 0.99


def test_at_the_bad_end_of_every_range_a_remote_alone_does_not_do():
    """The decision: boxes repeat unless all 24 hear within 3 s in 99 of 100 acts."""
    found = study.told(study.CASES["bad"], 3, 5, (study.CHOSEN,))
    for tally in found.values():
        assert tally.all_within() < 0.01
        assert tally.times_for_99() > 5, "no few diodes more would do"


def test_repeating_reaches_more_boxes_than_a_remote_alone():
    seed = 13
    times = study.repeated(study.CASES["hard"], 3, seed)[3]
    alone = study.told(study.CASES["hard"], 3, seed, (study.CHOSEN,))[study.CHOSEN.name, 3]
    assert np.mean(times <= 10_000) > alone.all_by()[-1]
