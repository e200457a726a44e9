"""The small printed parts: the diffuser before the lamps and the bar behind them."""

from __future__ import annotations

from types import SimpleNamespace

from manifold3d import Manifold

from .outlines import diffuser_outline
from .places import Places
from .shapes import block, flared, grown, post, prism, rounded, union

LAMP_BAR_MM = 2.4


def diffuser(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the tray in the face's slot, printed face down; its brim holds it in the slot."""
    slot = grown(diffuser_outline(part, place), -own.gaps.slide_mm)
    face, front = own.walls.face_mm, 0.6
    body = union(
        [
            prism(slot, front, face + 1.4),
            flared(slot, grown(slot, 2), face - 2, face, face + 1.4),
        ]
    )
    return body - prism(grown(slot, -1.3), front + own.walls.diffuser_mm, face + 2)


def lamp_bar(part: SimpleNamespace, place: Places, own: SimpleNamespace) -> Manifold:
    """Return the bar that the strip is stuck to, screwed on the lamps' two posts."""
    low = place.lamp_bar_z
    plan = rounded(part.lamps.pcb[0] + 1, part.lamps.pcb[1] + 4, 2).translate(place.lamps)
    bar = prism(plan, low, low + LAMP_BAR_MM)
    y = place.lamps[1]
    for post_x, post_y in place.lamp_posts:
        long = y - post_y + 8
        bar += block(post_x, post_y - 4 + long / 2, low, 9, long, LAMP_BAR_MM, 3)
        bar -= post(post_x, post_y, low - 1, low + 5, 2.8)
    return bar
