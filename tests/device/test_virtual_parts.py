"""What the parts of virtual boxes make of the traffic that reaches them."""

import pytest
from virtual_lab import Lab, needs_micropython

from handbell.virtual.parts import Light, Sound
from handbell.virtual.screen import HEIGHT, WIDTH, Screen

ON = b"\x80\xaf"


@pytest.fixture
def lab(tmp_path):
    lab = Lab(tmp_path)
    with lab.world:
        yield lab


def lit(screen: Screen) -> set[tuple[int, int]]:
    return {(n % WIDTH, n // WIDTH) for n, on in enumerate(screen.pixels()) if on}


def command(screen: Screen, *data: int) -> None:
    screen.take(bytes((0x00, *data)), 0)


def test_a_byte_is_eight_rows_least_bit_on_top():
    screen = Screen()
    command(screen, 0xAF, 0x20, 0x00, 0x21, 10, 127, 0x22, 2, 7)
    screen.take(b"\x40\x01\x80\x18", 5)
    assert lit(screen) == {(10, 16), (11, 23), (12, 19), (12, 20)}


def test_windows_wrap_in_each_mode():
    # SSD1306 data sheet: 0x20 sets the mode, 0x21 and 0x22 the window (check values).
    for mode, places in (
        (0, [(10, 2), (11, 2), (10, 3), (11, 3), (10, 2)]),
        (1, [(10, 2), (10, 3), (11, 2), (11, 3), (10, 2)]),
    ):
        for n in range(1, 6):
            screen = Screen()
            command(screen, 0xAF, 0x20, mode, 0x21, 10, 11, 0x22, 2, 3)
            screen.take(b"\x40" + b"\x01" * n, 0)
            assert lit(screen) == {(x, page * 8) for x, page in places[:n]}, (mode, n)


def test_page_mode_stays_in_its_page():
    screen = Screen()
    command(screen, 0xAF, 0x20, 0x02, 0xB5, 0x0E, 0x17)
    screen.take(b"\x40\x80\x80\x80", 0)
    assert lit(screen) == {(126, 47), (127, 47), (0, 47)}


def test_switches_change_what_is_seen():
    screen = Screen()
    assert not lit(screen)
    command(screen, 0x20, 0x00, 0x21, 0, 127, 0x22, 0, 7)
    screen.take(b"\x40\x01", 1)
    assert not lit(screen), "dark until it is switched on"
    screen.take(ON, 2)
    assert lit(screen) == {(0, 0)}
    command(screen, 0xA7)
    assert len(lit(screen)) == WIDTH * HEIGHT - 1
    command(screen, 0xA6, 0xA5)
    assert len(lit(screen)) == WIDTH * HEIGHT
    command(screen, 0xA4, 0x48)
    assert lit(screen) == {(0, 56)}, "start line 8 brings row 0 up to row 56"
    command(screen, 0x40, 0xA0, 0xC0)
    assert lit(screen) == {(127, 63)}, "without the remaps the panel is upside down"
    command(screen, 0x81, 0x22)
    assert screen.contrast == 0x22
    screen.lose_power(9)
    assert not lit(screen)
    assert list(screen.history)[-1] == 9


def test_history_tells_changes_only():
    screen = Screen()
    screen.take(ON, 1)
    screen.take(b"\x40\x01", 2)
    command(screen, 0x20, 0x02, 0xB0, 0x00, 0x10)
    screen.take(b"\x40\x01", 3)
    screen.take(b"\x40\x01", 4)
    assert list(screen.history) == [1, 2, 4]


def test_pictures_show_the_pixels(tmp_path):
    image = pytest.importorskip("PIL.Image", reason="pillow draws the pictures")
    screen = Screen()
    screen.take(ON, 0)
    screen.take(b"\x40\x80", 0)
    screen.png(tmp_path / "plain.png", 3, "plain")
    plain = image.open(tmp_path / "plain.png")
    assert plain.size == (384, 192)
    assert [
        (x, y) for x in range(0, 384, 3) for y in range(0, 192, 3) if plain.getpixel((x, y))
    ] == [(0, 21)]
    screen.png(tmp_path / "panel.png")
    panel = image.open(tmp_path / "panel.png").convert("L")
    assert panel.getpixel((24 + 1, 24 + 7 * 4 + 1)) > 200
    assert panel.getpixel((24 + 5, 24 + 7 * 4 + 1)) < 40


def test_strips_keep_wire_order_and_changes():
    light = Light(3)
    light.take(bytes((1, 2, 3, 4, 5, 6, 7, 8, 9)), 10)
    light.take(bytes((1, 2, 3, 4, 5, 6, 7, 8, 9)), 20)
    light.take(bytes((0, 0, 0)), 30)
    assert [change.world_us for change in light.history] == [10, 30]
    assert light.history[0].colours == ((2, 1, 3), (5, 4, 6), (8, 7, 9))
    assert light.colours == ((0, 0, 0), (5, 4, 6), (8, 7, 9)), "LEDs not reached keep their colour"


def test_bells_are_onsets_of_sound():
    sound = Sound()
    for at, freq, duty in (
        (1, 800, 0),
        (2, 800, 9),
        (3, 900, 9),
        (4, 900, 0),
        (5, 700, 0),
        (6, 700, 1),
    ):
        sound.take(freq, duty, at)
    assert sound.bells() == [2, 6]


@needs_micropython
def test_what_framebuf_draws_is_what_the_screen_shows(lab):
    box = lab.box("""
        import framebuf
        i2c = I2C(0, sda=Pin(4), scl=Pin(5), freq=400000)
        data = bytearray(1025)
        data[0] = 0x40
        fb = framebuf.FrameBuffer(memoryview(data)[1:], 128, 64, framebuf.MONO_VLSB)
        fb.text("12:34", 3, 40, 1)
        fb.line(0, 0, 127, 63, 1)
        fb.rect(90, 5, 30, 20, 1)
        for c in (0xAE, 0x20, 0, 0x21, 0, 127, 0x22, 0, 7, 0xA1, 0xC8, 0x81, 0x9F, 0xAF):
            i2c.writeto(0x3C, bytes((0x80, c)))
        wait_us(5000000)
        t = time.ticks_us()
        i2c.writevto(0x3C, (b"\\x40", memoryview(data)[1:]))
        tell(time.ticks_diff(time.ticks_us(), t))
        for y in range(64):
            tell("".join("#" if fb.pixel(x, y) else "." for x in range(128)))
        rest()
        """)
    lab.world.run_to(20_000_000)
    took, *rows = lab.notes()
    # runtime facts, measured on an emulated chip: 1025 bytes take 27.1 ms at 400 kHz
    assert int(took) == pytest.approx(27_100, rel=0.02)
    assert "#" in "".join(rows)
    shown = box.screen.pixels()
    assert rows == [
        "".join(".#"[shown[y * WIDTH + x]] for x in range(WIDTH)) for y in range(HEIGHT)
    ]
    assert box.screen.contrast == 0x9F


@needs_micropython
def test_the_bus_has_one_part_and_a_timeout(lab):
    lab.box("""
        bus = I2C(0, sda=Pin(4), scl=Pin(5), freq=100000)
        tell(*bus.scan())
        for address, size in ((0x3D, 1), (0x3C, 1024), (0x3C, 100)):
            try:
                tell(bus.writeto(address, bytes(size)))
            except OSError as fault:
                tell(-fault.errno)
        tell(*bus.readfrom(0x3C, 2))
        rest()
        """)
    lab.world.run_for(5_000_000)
    # ENODEV; at 100 kHz a whole frame runs into the default 50 ms (runtime facts): ETIMEDOUT
    assert lab.numbers() == [0x3C, -19, -110, 100, 0, 0]


@needs_micropython
def test_strip_and_sounder_show_what_the_firmware_sets(lab):
    box = lab.box("""
        strip = neopixel.NeoPixel(Pin(16), 8)
        bell, line = PWM(Pin(15), freq=1000, duty_u16=0), PWM(Pin(14), freq=1000, duty_u16=0)
        wait_us(5000000)
        strip[0] = (255, 0, 1)
        strip[7] = (9, 8, 7)
        t = time.ticks_us()
        strip.write()
        tell(time.ticks_diff(time.ticks_us(), t))
        tell(*strip[7])
        bell.freq(659)
        bell.duty_u16(30000)
        wait_us(120000)
        bell.duty_u16(0)
        line.duty_u16(100)
        line.deinit()
        tell(line.freq())
        for bad in (7, 70000000):
            try:
                bell.freq(bad)
            except ValueError:
                tell(bad)
        rest()
        """)
    lab.world.run_to(20_000_000)
    # runtime facts: 30 us a LED
    assert lab.numbers() == [240, 9, 8, 7, 659, 7, 70_000_000]
    assert box.light.colours == ((255, 0, 1), *[(0, 0, 0)] * 6, (9, 8, 7))
    (onset,) = box.sound.bells()
    sounding = [change for change in box.sound.history if change.duty]
    assert (sounding[-1].freq_hz, sounding[-1].duty) == (659, 30_000)
    assert [c.world_us - onset for c in box.sound.history if c.world_us > onset] == [120_000]
    assert [c.duty for c in box.line.history if c.duty] == [100]
    assert box.line.history[-1].freq_hz == 659, "both pins of a slice share their frequency"


@needs_micropython
def test_power_identity_and_usb_can_be_read(lab):
    box = lab.box(
        """
        battery, usb = ADC(Pin(26)), Pin(24, Pin.IN)
        tell(machine.unique_id().decode(), machine.freq(), Pin("LED"))
        for i in range(3):
            tell(battery.read_u16() * 6600 // 65535, usb.value())
            while Pin(10, Pin.IN).value():
                board.idle(None)
            while not Pin(10, Pin.IN).value():
                board.idle(None)
        """,
        battery_mv=4100,
        unique_id=b"ABCDEFGH",
    )
    lab.world.run_to(10_000_000)
    box.battery_mv = 3300
    box.unplug()
    box.press(0)
    lab.world.run_for(10_000_000)
    box.plug_in()
    box.press(0)
    lab.world.run_for(10_000_000)
    assert lab.notes()[0] == "ABCDEFGH 125000000 Pin(25)"
    readings = [tuple(map(int, line.split())) for line in lab.notes()[1:]]
    assert [usb for _, usb in readings] == [1, 0, 1]
    assert [mv for mv, _ in readings] == pytest.approx([4100, 3300, 3300], abs=5)
