"""Draws virtual boxes for a terminal: screen, light, sound and state, side by side."""

from __future__ import annotations

import math
from datetime import datetime, timezone

from rich.box import HEAVY, ROUNDED
from rich.columns import Columns
from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.text import Text

from handbell.virtual.box import VirtualBox
from handbell.virtual.parts import RGB
from handbell.virtual.screen import HEIGHT, WIDTH
from handbell.virtual.world import World

PANEL_WIDTH = WIDTH // 2 + 4
PANEL_HEIGHT = HEIGHT // 4 + 4  # with a hint, a box and the keys: 24 lines
_FRAME_LINES = 3
_BRAILLE = 0x2800
# Braille dots by place in a cell two wide and four high.
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
# Okabe and Ito's palette, which most people with a colour-vision deficiency tell apart.
_NAMED: dict[str, RGB] = {
    "O": (230, 159, 0),
    "S": (86, 180, 233),
    "G": (0, 158, 115),
    "Y": (240, 228, 66),
    "B": (0, 114, 178),
    "V": (213, 94, 0),
    "P": (204, 121, 167),
    "W": (255, 255, 255),
}
_NOTES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_LEGEND = "O orange  S sky  G green  Y yellow  B blue  V vermillion  P purple  W white  · dark"
_KEYS = (
    "1-9 taps a box   Tab next box   a s d f tap its buttons 1-4\n"
    "A S D F press them down, again lets go   u cable   p power   q quit"
)


def braille(pixels: bytes) -> list[str]:
    """A picture of one byte a pixel as lines of Braille, eight pixels a character."""
    lines = []
    for top in range(0, HEIGHT, 4):
        cells = []
        for left in range(0, WIDTH, 2):
            dots = 0
            for y in range(4):
                place = (top + y) * WIDTH + left
                dots |= pixels[place] * _DOTS[y][0] | pixels[place + 1] * _DOTS[y][1]
            cells.append(chr(_BRAILLE + dots))
        lines.append("".join(cells))
    return lines


def colour_letter(colour: RGB) -> str:
    """The letter of the nearest colour of our palette, however dim; a dot for dark."""
    brightest = max(colour)
    if brightest == 0:
        return "·"
    full = [255 * part / brightest for part in colour]

    def distance(name: str) -> float:
        named = _NAMED[name]
        return math.dist(full, [255 * part / max(named) for part in named])

    return min(_NAMED, key=distance)


def note_name(freq_hz: int) -> str:
    """The nearest note of equal temperament, A4 = 440 Hz (ISO 16)."""
    number = round(69 + 12 * math.log2(freq_hz / 440))
    return f"{_NOTES[number % 12]}{number // 12 - 1}"


def strip_text(colours: tuple[RGB, ...]) -> Text:
    """The light strip: a bright cell and a letter for each LED."""
    text = Text("light ")
    for colour in colours:
        brightest = max(colour)
        shown = [255 * part // brightest for part in colour] if brightest else [40, 40, 40]
        red, green, blue = shown
        text.append(f" {colour_letter(colour)} ", style=f"black on rgb({red},{green},{blue})")
        text.append(" ")
    return text


def sound_text(box: VirtualBox, now_us: int) -> str:
    """What it rings, or rang last."""
    sounds = [change for change in list(box.sound.history)[-20:] if change.duty]
    if not sounds:
        return "sound  none yet"
    last = sounds[-1]
    name = f"{note_name(last.freq_hz)} {last.freq_hz} Hz"
    if box.sound.duty:
        return f"sound  {name}, ringing"
    return f"sound  {name}, {(now_us - last.world_us) / 1e6:.0f} s ago"


def state_text(box: VirtualBox) -> Text:
    """Power, cable and host in a few words."""
    if box.failure:
        return Text(str(box.failure), style="bold", no_wrap=True, overflow="ellipsis")
    if not box.is_alive():
        return Text("no power")
    cable = "a host listens" if box.host_open else "cable in"
    return Text(f"{box.battery_mv / 1000:.2f} V, {cable if box.is_plugged else 'cable out'}")


def panel(box: VirtualBox, number: int, is_selected: bool, now_us: int) -> Panel:
    """One box."""
    picture = Text("\n".join(braille(box.screen.pixels())), no_wrap=True, overflow="crop")
    heard = Text(f"{sound_text(box, now_us)}   ", no_wrap=True, overflow="ellipsis")
    inside = Group(picture, strip_text(box.light.colours), heard.append_text(state_text(box)))
    return Panel(
        inside,
        title=f"{number}  {box.name}" + ("  (selected)" if is_selected else ""),
        subtitle=box.url if box.is_plugged and box.is_alive() else None,
        box=HEAVY if is_selected else ROUNDED,
        width=PANEL_WIDTH,
        height=PANEL_HEIGHT,
    )


def shown_range(
    count: int, selected: int, width: int, height: int, frame: int = _FRAME_LINES
) -> range:
    """Which boxes fit beside `frame` lines of other things, the selected one among them."""
    across = max(1, width // PANEL_WIDTH)
    down = max(1, (height - frame) // PANEL_HEIGHT)
    fitting = across * down
    first = selected // fitting * fitting
    return range(first, min(count, first + fitting))


def view(
    world: World, selected: int, message: str, width: int, height: int, hint: str = ""
) -> RenderableType:
    """The whole terminal; `hint` is a line that stays."""
    now_us = world.now_us()
    utc = datetime.fromtimestamp(world.utc_us() // 1_000_000, timezone.utc)
    frame = _FRAME_LINES + bool(hint)
    shown = shown_range(len(world.boxes), selected, width, height, frame)
    head = f"{utc:%H:%M:%S} UTC   boxes {shown.start + 1}-{shown.stop} of {len(world.boxes)}"
    speed = world.clock.pace.speed
    if speed != 1:
        head += f"   {speed} times as fast as time"
    panels = [panel(world.boxes[n], n + 1, n == selected, now_us) for n in shown]
    rows = -(-len(shown) // max(1, width // PANEL_WIDTH))
    has_room = height > rows * PANEL_HEIGHT + frame
    below = [line for line in (hint, _KEYS, _LEGEND if has_room else "") if line]
    return Group(
        Text(f"{head}   {message}", no_wrap=True, overflow="ellipsis"),
        Columns(panels, padding=(0, 0)),
        Text("\n".join(below), style="dim", no_wrap=True),
    )
