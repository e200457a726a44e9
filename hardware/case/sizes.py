"""What the case is computed from: the parts' sizes in box.toml, our choices in case.toml."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

from handbell.base.errors import HandbellError
from hardware.load import PATH, read

CHOICES = Path(__file__).with_name("case.toml")

# What the case asks of each part.
ASKED = {
    "board": "pcb thick deep usb_out usb_plug",
    "carrier": "pcb thick deep holes",
    "display": "pcb thick deep glass lit lit_shift holes plug_clear",
    "lamps": "pcb deep pitch lamp",
    "button": "dome hole above below collar nut panel_most",
    "cell": "box deep",
    "charger": "pcb deep",
    "clock": "pcb deep",
    "speaker": "round deep magnet grille",
    "switch": "bezel cut below",
    "receiver": "body deep dome",
    "emitter": "star thick lens over solder",
    "driver": "pcb thick deep",
    "jack": "hole body below panel_most",
    "fasteners": "screw insert_hole insert_long",
    "mounting": "strap hook tether",
}


def part_sizes(
    display: str = "display",
    button: str = "button",
    path: Path = PATH,
    driver: str = "driver",
) -> SimpleNamespace:
    """Return the parts' sizes in mm, a namespace a part.

    ``display``, ``button`` and ``driver`` name the tables that are taken for these. Raises
    HandbellError for a table or a key that is missing.
    """
    tables = read(path).get("size", {})
    parts = {}
    for name, keys in ASKED.items():
        chosen = {"display": display, "button": button, "driver": driver}.get(name, name)
        missing = [key for key in keys.split() if key not in tables.get(chosen, {})]
        if missing:
            raise HandbellError(
                f"{path.name}, [size.{chosen}]: the case needs {', '.join(missing)}",
                "Measure the part and write it there",
            )
        parts[name] = SimpleNamespace(**{key: tables[chosen][key] for key in keys.split()})
    return SimpleNamespace(**parts)


def choices(path: Path = CHOICES) -> SimpleNamespace:
    """Return case.toml, a namespace a table."""
    return SimpleNamespace(**{name: SimpleNamespace(**table) for name, table in read(path).items()})
