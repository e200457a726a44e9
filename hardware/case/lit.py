"""What a working box gives off: its screen, as the manual has it, and its lights."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from .build import Case

SCREEN = Path(__file__).parents[2] / "docs" / "img" / "screen-target.png"
DOTS, SCALE, MARGIN = (128, 64), 4, 12  # as the manual's pictures of screens are drawn
ORANGE = (0.90, 0.62, 0.0)  # a window, as in handbell_core.cues
LIGHTS, LEFT = 8, 6  # how many there are, and how many are lit
SPREAD_MM = 7.5  # how far the diffuser spreads a light


def screen(case: Case) -> Callable[[Any], Any]:
    """Return the light of the display behind its window, in a window of the class."""
    import numpy as np
    from PIL import Image

    (wide, high), (x, y) = case.part.display.lit, case.place.view
    picture = np.asarray(Image.open(SCREEN).convert("RGB"), dtype=float) / 255

    def glow(place: Any) -> Any:
        # The frame's x is to the left as seen from the front.
        across = (x + wide / 2 - place[:, 0]) / wide
        down = (y + high / 2 - place[:, 1]) / high
        inside = (across >= 0) & (across < 1) & (down >= 0) & (down < 1)
        columns = MARGIN + (np.clip(across, 0, 0.999) * DOTS[0] * SCALE).astype(int)
        rows = MARGIN + (np.clip(down, 0, 0.999) * DOTS[1] * SCALE).astype(int)
        seen = picture[rows, columns]
        return np.where((inside & (seen.mean(axis=1) > 0.3))[:, None], seen, 0.0)

    return glow


def lights(case: Case) -> Callable[[Any], Any]:
    """Return the light of the diffuser with some lights lit, the first at the left."""
    import numpy as np

    x, pitch = case.place.lamps[0], case.part.lamps.pitch
    middles = [x + (LIGHTS - 1) / 2 * pitch - n * pitch for n in range(LEFT)]

    def glow(place: Any) -> Any:
        spread = sum(np.exp(-(((place[:, 0] - at) / SPREAD_MM) ** 2)) for at in middles)
        return np.clip(spread, 0, 1)[:, None] * np.array(ORANGE)

    return glow
