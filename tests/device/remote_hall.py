"""A hall with a remote: the real firmware on it and its boxes, and the air between."""

from infrared_air import telegram_light

from handbell_core.bursts_out import lasts_us
from handbell_core.telegram import KEY_SIZE
from made import GATE, lead_in, rest, span, window
from rig import Rig, digest, timeline

S = 1_000_000
KEY = bytes(range(KEY_SIZE))
STEP_US = 100_000
APART_US = 3_000  # the bound of arming
LATE_US = 200_000  # so much later the boxes see it: the world runs them in steps


def spans():
    return [lead_in(5_000), window(20_000), rest(10_000), window(10_000), span(GATE, 0), window()]


class Hall:
    """Boxes, the last of which is their remote."""

    def __init__(self, folder, boxes, **spec):
        self.rig = Rig(folder, boxes=boxes + 1, receiver=True, **({"buttons": 4} | spec))
        self.world = self.rig.world
        self.world.speed = 0  # between its steps time stands, however busy the machine is
        *self.boxes, self.remote = self.world.boxes
        self.rig.ask("name", self.remote, station=0, label="Remote", remote=1)
        self.remote.cut_power()
        self.world.run_for(S)
        self.remote.power_up()
        self.told = 0
        self.deaf = []

    def load(self):
        """Give everybody the class above."""
        self.data = [timeline(spans, n) for n in (*range(1, len(self.boxes) + 1), 0)]
        self.rig.send(self.data[:-1], self.data[-1])
        self.start_us = self.rig.arm(self.data[:-1], 10)

    def arm(self, at_start=True):
        utc_ms = (self.start_us + self.world.clock.start_utc_us) // 1000 if at_start else 0
        for box, data in zip(self.world.boxes, self.data, strict=True):
            self.rig.ask("arm", box, d=digest(data), utc_ms=utc_ms, key=KEY.hex())
            box.unplug()

    def run_to(self, until_us):
        """Let time pass; what the remote sends comes to the boxes."""
        while self.world.now_us() < until_us:
            self.world.run_to(min(until_us, self.world.now_us() + STEP_US))
            for telegram in list(self.remote.telegrams)[self.told :]:
                self.told += 1
                ends_us = telegram.world_us + lasts_us(telegram.data) + LATE_US
                light = telegram_light(telegram.data, ends_us)
                for box in self.boxes:
                    if box not in self.deaf:
                        box.see(light)

    def works(self, button, at_us, hold_ms=120):
        """Somebody presses a button of the remote."""
        self.run_to(at_us)
        self.remote.press(button, hold_ms=hold_ms)

    def holds(self, button, at_us):
        self.works(button, at_us, 1_700)

    def at(self, class_ms):
        return self.start_us + class_ms * 1000

    def states(self):
        found = []
        for box in self.boxes:
            box.plug_in()
            found.append(self.rig.ask("status", box)["state"])
            box.unplug()
        return found

    def bells_after(self, at_us):
        return [[b for b in box.sound.bells() if b > at_us] for box in self.boxes]


def assert_together(rung, least):
    assert len({len(bells) for bells in rung}) == 1 and len(rung[0]) >= least, rung
    for bells in zip(*rung, strict=True):
        assert max(bells) - min(bells) < APART_US
