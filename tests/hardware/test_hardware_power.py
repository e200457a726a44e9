"""The power budget: run times, what the lamps and the display take, what is left at each limit."""

from pathlib import Path

import pytest

from hardware import power, reach
from hardware.formulas import level_at_db
from hardware.load import box_of
from hardware.model import Battery

IMAGES = Path(__file__).resolve().parents[2] / "docs" / "img"


def battery(box, name) -> Battery:
    return next(option for option in box.battery if option.name == name)


def test_reference_cell_lasts_twelve_hours_of_class_even_aged(box):
    lasts = power.runtime(box, box.battery_fitted())
    assert lasts.aged_h >= box.class_day.hours == 12
    assert lasts.new_h / lasts.aged_h == pytest.approx(1 / 0.8)
    # Capacity x derating / current, by hand: 3.35 Ah (quoted, typical) x 0.70 (from memory).
    assert lasts.new_h == pytest.approx(3_350 * 0.70 / lasts.class_ma)


def test_three_aa_do_not_last_twelve_hours_either_way(box):
    straight, boosted = (power.runtime(box, battery(box, name)) for name in ("aa", "aa boost"))
    assert straight.new_h < boosted.new_h < 12
    # By hand: 35 % (memory) of 2.15 Ah at 100 mA (read), less at this load.
    load_a = straight.class_ma / 1000
    assert straight.new_h == pytest.approx(0.35 * 2.15 * (0.1 / load_a) ** 0.313 / load_a, rel=0.01)


@pytest.mark.parametrize("name", ["aa", "c"])
def test_fresh_alkaline_cells_want_a_diode_before_the_lamps(box, name):
    # WS2812B data sheet (quoted): a high level is 0.7 of the supply. A Schottky drops 0.3 V.
    full_v = battery(box, name).full_v * 3
    assert 0.7 * full_v > box.supply.high_v > 0.7 * (full_v - 0.3)


def test_a_converter_costs_the_lamps_more(box):
    """A lamp takes the same current at 5 V, so its power grows: what a converter can't save."""
    work = box.state["work"]
    cells = battery(box, "aa boost")
    straight, boosted = (power.draw(box, work, one) for one in (battery(box, "aa"), cells))
    ratio = 5.0 / 0.87 / (1.22 * 3)
    assert boosted.lamps_ma == pytest.approx(straight.lamps_ma * ratio)


def test_perfboard_build_lasts_too(data):
    larger = box_of(data, "perfboard")
    assert power.runtime(larger, larger.battery_fitted()).new_h >= 12


def test_limits_come_in_order(box):
    cell = box.battery_fitted()
    low_v, lamps_v = box.firmware.battery_low_mv / 1000, box.lamps().supply_v[0]
    assert cell.full_v > low_v > lamps_v > cell.empty_v
    # The board's converter works down to 1.8 V (Pico datasheet, read), behind its diode.
    assert cell.empty_v - 0.35 > 1.8
    assert cell.low_mv == box.firmware.battery_low_mv


@pytest.mark.parametrize("name", ["lithium", "aa boost"])
def test_a_class_begun_at_the_limit_ends(box, name):
    assert power.runtime(box, battery(box, name)).reserve_h >= 1.0


def test_lamps_of_a_window_by_hand(box):
    # Orange 230, 159, 0 at a cap of 64 of 255, rounded up: 58 and 40 of 255 parts of 20 mA
    # (quoted); 4.5 of 8 lamps are lit over a whole window; 0.7 mA a lamp for its chip (memory).
    by_hand = 4.5 * (58 + 40) / 255 * 20 + 8 * 0.7
    assert power.lamps_ma(box, "WINDOW") == pytest.approx(by_hand, rel=0.01)
    assert power.lamps_ma(box, "RESTING") < power.lamps_ma(box, "BREAK") < by_hand


def test_small_display_takes_what_was_measured(box):
    # SSD1306, 0.96 inch: about 6 mA with text, 25 to 30 with all lit (one measurement, quoted).
    small = next(option for option in box.display if option.inch == "0.96")
    assert 4.5 < power.display_ma(small, box.state["idle"].lit) < 9
    assert 25 <= power.display_ma(small, 1.0) <= 30


def test_share_of_lit_pixels_is_that_of_the_firmwares_screens(box):
    image = pytest.importorskip("PIL.Image", reason="Pillow reads the screens' pictures")
    for state in box.state.values():
        shares = []
        for name in state.screens:
            glass = image.open(IMAGES / f"{name}.png").convert("L")
            glass = glass.crop((12, 12, glass.width - 12, glass.height - 12))
            pixels = glass.resize((128, 64), image.Resampling.NEAREST).tobytes()
            shares.append(sum(level > 127 for level in pixels) / len(pixels))
        assert state.lit == pytest.approx(sum(shares) / len(shares), abs=0.012), state.what


def test_board_draws_between_what_is_published(box):
    # Pico datasheet: 86.5 mA busy (read); MicroPython idling 20 to 25 mA (memory).
    for state in box.state.values():
        assert 20 <= power.board_ma(box, state.busy) <= 86.5


def test_a_power_bank_may_sleep_on_a_resting_box(box):
    bank = battery(box, "bank")
    idle_ma, work_ma = (power.usb_ma(box, box.state[name]) for name in ("idle", "work"))
    assert idle_ma < bank.sleep_ma < work_ma


def test_usb_current_is_energy_kept(box):
    """What a state takes at 5 V of USB is the board's own published current and the rest."""
    idle = box.state["idle"]
    others_mw = power.display_ma(box.display_fitted(), idle.lit) * 3.3 / 0.85
    by_hand = power.board_ma(box, idle.busy) + others_mw / 4.7 + power.lamps_ma(box, "RESTING")
    # Three receivers of 0.45 mA, a clock part of 0.3 mA, a step-up of 2 mA and its driver of 0.4 mA.
    by_hand += (3 * 0.45 + 0.3) * 3.3 / 0.85 / 4.7 + 2 + 0.4 * 11.1 / 0.85 / 5
    assert power.usb_ma(box, idle) == pytest.approx(by_hand, abs=1.0)


def test_a_chip_that_never_rests_still_lasts_a_long_day(box):
    assert power.runtime(box, box.battery_fitted()).busy_h > 10


def test_sounder_is_far_under_a_class_and_safe(box):
    # Classes average 93.1 dB(A) at high intensity (Beach & Nie 2014, read); a sounder 15 dB over
    # that would be 108 dB(A). NIOSH: 85 dB(A) over 8 h (read).
    for sounder in box.sounder:
        level = reach.level_db(box, sounder)
        if level is not None:
            assert level_at_db(level, 1, 2) < reach.CLASS_DB - 15
            assert level < 85
    # By hand: 3.85 V over 30 Ohm, half of it as rms into 8 Ohm, 84 dB at 1 W and 1 m (memory).
    reference = reach.level_db(box, box.sounder[0])
    assert reference == pytest.approx(84 - 14.8, abs=0.1)


def test_lamps_are_counted_from_farther_than_the_screen_is_read(box):
    screen = max(one.just_m for one in reach.legible(box.display_fitted()))
    assert reach.lamps_apart_m(box) > 1.5 * screen
