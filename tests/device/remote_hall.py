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
        self.told = [0] * len(self.world.boxes)
        self.deaf = []  # to the remote
        self.mirror = False  # a box sees its own light too
        self.step_us, self.late_us = STEP_US, LATE_US

    def load(self):
        """Give everybody the class above."""
        self.data = [timeline(spans, n) for n in (*range(1, len(self.boxes) + 1), 0)]
        self.rig.send(self.data[:-1], self.data[-1])
        self.start_us = self.rig.arm(self.data[:-1], 10)

    def arm(self, at_start=True):
        utc_ms = (self.start_us + self.world.clock.start_utc_us) // 1000 if at_start else 0
        for box, data in zip(self.world.boxes, self.data, strict=True):
            led = {"key": KEY.hex(), "stations": len(self.boxes)}
            self.rig.ask("arm", box, d=digest(data), utc_ms=utc_ms, **led)
            box.unplug()

    def run_to(self, until_us):
        """Let time pass; what the remote and boxes send comes to the boxes."""
        while self.world.now_us() < until_us:
            self.world.run_to(min(until_us, self.world.now_us() + self.step_us))
            for n, sender in enumerate(self.world.boxes):
                for telegram in list(sender.telegrams)[self.told[n] :]:
                    self.told[n] += 1
                    ends_us = telegram.world_us + lasts_us(telegram.data) + self.late_us
                    light = telegram_light(telegram.data, ends_us)
                    for box in self.boxes:
                        if self.mirror if box is sender else self._sees(box, sender):
                            box.see(light)

    def _sees(self, box, sender):
        return sender is not self.remote or box not in self.deaf

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


def assert_together(rung, least, apart_us=APART_US):
    assert len({len(bells) for bells in rung}) == 1 and len(rung[0]) >= least, rung
    for bells in zip(*rung, strict=True):
        assert max(bells) - min(bells) < apart_us
