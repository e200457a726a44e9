"""The self-test on virtual boxes with each part broken in turn: it names that part, and no other."""

import pytest

from handbell.base.errors import BoxError
from handbell.boxes import selftest
from handbell.boxes.selftest import SelfTest
from handbell.virtual.world import World
from handbell_core import faults
from made import lead_in, window
from rig import Rig, reps, timeline

pytestmark = pytest.mark.usefixtures("micropython")
FASTER = 5  # than real time, which the parts of the test are then given


class Person:
    """Somebody at the laptop who looks at the box, listens, presses, and answers."""

    def __init__(self, rig, buttons=2):
        self.rig = rig
        self.buttons = buttons
        self.asked = []

    def __call__(self, question):
        self.asked.append(question)
        self.rig.world.clock.sleep(0.3)  # what the parts did comes on another way than replies
        box = self.rig.box
        if "chequer" in question:
            lit = sum(box.screen.pixels())
            return "y" if 3_000 < lit < 5_500 else "n"
        if "lights lit" in question:
            seen = set()
            for change in box.light.history:
                lit = [n for n, colour in enumerate(change.colours) if any(colour)]
                if len(lit) == 1:
                    seen.add(lit[0] + 1)
            return " ".join(str(n) for n in range(1, 9) if n not in seen)
        if "rising" in question:
            tones = [c.freq_hz for c in box.sound.history if c.duty]
            return "y" if tones[-3:] == [523, 1047, 1568] else "no"
        assert "press" in question
        for slot in range(self.buttons):
            box.press(slot)
        self.rig.world.clock.sleep(0.5)
        return ""


def found(rig, ask=None, buttons=2):
    with rig.connect() as connection:
        findings = SelfTest(connection, ask or Person(rig), buttons).run()
    return {f.part: f.fine for f in findings}


@pytest.fixture
def rig_of(tmp_path, monkeypatch):
    rigs = []

    # Time is real while a port is open, so it waits no longer than parts need; here it goes faster.
    monkeypatch.setattr(World, "_wanted_speed", lambda world: FASTER)
    for name, seconds in (("LOOK_S", 0.1), ("LAMP_S", 0.03), ("RING_S", 1.0), ("CLOCK_S", 2.0)):
        monkeypatch.setattr(selftest, name, seconds)

    def make(**spec):
        rig = Rig(tmp_path, **spec)
        rigs.append(rig)
        return rig

    yield make
    for rig in rigs:
        rig.world.close()


def test_a_sound_box_is_fine(rig_of):
    rig = rig_of(rtc=True)
    parts = found(rig)
    assert set(parts) == {
        "display", "lights", "buzzer", "button 1", "button 2", "battery sense", "flash", "clock",
        "clock part",
    }  # fmt: skip
    assert all(parts.values())


@pytest.mark.parametrize(
    ("spec", "part"),
    [
        ({"broken": ("display",)}, "display"),
        ({"broken": ("lamp 3",)}, "light 3"),
        ({"broken": ("sounder",)}, "buzzer"),
        ({"broken": ("button 2",)}, "button 2"),
        ({"broken": ("battery",)}, "battery sense"),
        ({"flash_fails_at": 30}, "flash"),
        ({"ppm": 900}, "clock"),
        ({"rtc": True, "rtc_lost": True}, "clock part"),
    ],
)
def test_the_part_that_fails_is_named(rig_of, spec, part):
    parts = found(rig_of(**spec))
    assert [name for name, fine in parts.items() if not fine] == [part]


def test_without_a_battery_what_it_feeds_is_not_blamed_on_wires(rig_of):
    """On USB alone lamps and loudspeaker have no supply (hardware/box.toml, net BATTERY)."""
    rig = rig_of(broken=("battery", "lamp 2", "sounder"))
    with rig.connect() as connection:
        findings = SelfTest(connection, Person(rig), 2).run()
    words = {f.part: f.words for f in findings if f.fine is False}
    assert set(words) == {"battery sense", "light 2", "buzzer"}
    for part in ("light 2", "buzzer"):
        assert "fed by the battery" in words[part] and "wire" not in words[part]


@pytest.mark.parametrize(
    ("answers", "dark"),
    [
        (["all"], range(1, 9)),
        (["1-8"], range(1, 9)),
        (["1\N{EN DASH}8"], range(1, 9)),
        (["2 \N{EM DASH} 4, 7\N{HYPHEN}8"], [2, 3, 4, 7, 8]),
        (["2\N{MINUS SIGN}3, 5"], [2, 3, 5]),
        (["2 to 3, 7"], [2, 3, 7]),
        (["n", "none of them", "9", "3-2", "0", "4"], [4]),
        (["all of them", "All."], range(1, 9)),
        (["none"], []),
        ([""], []),
    ],
)
def test_every_answer_about_lamps_is_understood_or_asked_again(rig_of, answers, dark):
    rig = rig_of()
    person, left = Person(rig), list(answers)

    def ask(question):
        return left.pop(0) if "lights lit" in question else person(question)

    with rig.connect() as connection:
        findings = SelfTest(connection, ask, 2).run()
    assert left == []
    lamps = [f.part for f in findings if f.part.startswith("light") and f.fine is False]
    assert lamps == [f"light {n}" for n in dark]


def test_without_a_battery_it_is_said_before_the_lamps_are_asked_about(rig_of):
    rig = rig_of(broken=("battery",))
    person = Person(rig)
    with rig.connect() as connection:
        SelfTest(connection, person, 2).run()
    (asked,) = [question for question in person.asked if "lights lit" in question]
    assert asked.startswith("The battery, which feeds the lights, is off or missing.")


def test_with_a_battery_wires_are_named(rig_of):
    rig = rig_of(broken=("sounder",))
    with rig.connect() as connection:
        findings = SelfTest(connection, Person(rig), 2).run()
    (words,) = [f.words for f in findings if f.fine is False]
    assert "check its wires" in words


def test_with_nobody_to_ask_it_judges_what_it_can(rig_of):
    parts = found(rig_of(broken=("lamp 2", "battery")), ask=lambda question: None)
    assert parts["battery sense"] is False and parts["flash"] is True
    assert parts["lights"] is None and parts["buzzer"] is None


def test_afterwards_the_box_is_itself_again(rig_of):
    rig = rig_of()
    found(rig)
    rig.world.run_for(2_000_000)
    lamps = rig.box.light.colours
    assert sum(1 for colour in lamps if any(colour)) == 1  # the faint lamp of a box that rests
    rig.box.press(0)
    rig.world.run_for(1_000_000)
    assert rig.ask("status")["state"] == "empty"


def test_a_host_that_goes_away_leaves_no_box_in_its_test(rig_of):
    rig = rig_of()
    rig.ask("test", part="lamp", n=4)
    rig.world.clock.sleep(0.3)
    assert sum(1 for c in rig.box.light.colours if any(c)) == 1
    lit = rig.box.light.colours
    rig.world.run_for(65_000_000)
    assert rig.box.light.colours != lit


def test_a_class_ends_a_test_that_a_host_left(rig_of):
    data = timeline(lambda: [lead_in(5_000), window(20_000)])
    rig = rig_of()
    rig.send([data])
    rig.ask("test", part="lamp", n=4)
    start = rig.arm([data], in_s=5)
    rig.box.press(0, start + 7_000_000)
    rig.world.run_to(start + 8_000_000)
    lit = sum(1 for colour in rig.box.light.colours if any(colour))
    assert lit == 7  # 18 of 20 s are left
    rig.world.run_to(start + 60_000_000)
    (run,) = rig.runs()
    assert reps(run)[7, 1] == 1


def test_a_box_in_class_refuses(rig_of):
    data = timeline(lambda: [lead_in(5_000), window(60_000)])
    rig = rig_of()
    rig.send([data])
    rig.arm([data])
    with pytest.raises(BoxError) as caught:
        rig.ask("test", part="sound")
    assert caught.value.code == faults.BUSY
