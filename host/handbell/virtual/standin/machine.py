"""The chip's `machine`: as much of it as a box uses, acting on the virtual world."""

import _channel
import _frames
import _irq
import _receiver
import _world
from _bus import I2C
from _pins import ADC, PWM, Pin  # noqa: F401 - the firmware imports them from here
from _timers import WDT, Timer  # noqa: F401

PWRON_RESET = 1
WDT_RESET = 3

_boot = {}


class _Registers(dict):
    """The chip's registers, as far as a box writes any: what it writes has no effect here."""

    def __missing__(self, address):
        return 0


mem32 = _Registers()


def _begin(config):
    """Start.py hands over what the world says of this box."""
    _boot["id"] = bytes.fromhex(config["unique_id"])
    _boot["cause"] = config["reset_cause"]
    _boot["buttons"] = config["buttons"]
    _boot["repeats"] = config["repeats"]
    I2C.present = config["i2c"]
    _receiver.pin = config["receiver_pin"]
    if config["rtc"]:
        from _clockpart import ADDRESS, ClockPart

        I2C.answering = {ADDRESS: ClockPart(config["rtc_pin"], config["rtc"])}


def unique_id():
    """The box's eight bytes."""
    return _boot["id"]


def reset_cause():
    """`PWRON_RESET`, or `WDT_RESET` after a reset by program or watchdog."""
    return _boot["cause"]


def reset():
    """Starts the box again; does not return."""
    _channel.end_of_power(_frames.RESET, WDT_RESET)


def soft_reset():
    """As `reset`, but the cause stays what it was."""
    _channel.end_of_power(_frames.RESET, _boot["cause"])


def freq(hz=None):
    """The chip's clock in Hz."""
    return 125000000


def disable_irq():
    """Interrupts off; gives what `enable_irq` wants back."""
    _irq.mask()
    return 1


def enable_irq(state=1):
    """Interrupts on again; what was latched meanwhile comes now."""
    _world.unmask()


def idle():
    """Waits a millisecond."""
    _world.pass_time(1000)


def lightsleep(ms=1):
    """Passes `ms` milliseconds."""
    _world.pass_time(ms * 1000)
