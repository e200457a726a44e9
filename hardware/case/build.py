"""The whole case: printed parts by name, and the bought parts that sit in it."""

from __future__ import annotations

from types import SimpleNamespace

from manifold3d import Manifold

from . import back, bought, shell, small_parts
from .places import Places, places
from .sizes import choices, part_sizes


def on_bed(solid: Manifold, turned: bool) -> Manifold:
    """Return a solid on the bed, in its middle, turned over or not."""
    solid = solid.rotate((180, 0, 0)) if turned else solid
    low = solid.bounding_box()
    return solid.translate((-(low[0] + low[3]) / 2, -(low[1] + low[4]) / 2, -low[2]))


class Case:
    """A case: the sizes it follows from, its printed and its bought parts."""

    def __init__(self, part: SimpleNamespace, own: SimpleNamespace) -> None:
        """Compute every solid from the parts' sizes and our own choices."""
        self.part = part
        self.own = own
        self.place: Places = places(self.part, self.own)
        given = (self.part, self.place, self.own)
        self.printed: dict[str, Manifold] = {
            "shell": shell.build(*given),
            "back": back.build(*given),
            "diffuser": small_parts.diffuser(*given),
            "lamp bar": small_parts.lamp_bar(*given),
        }
        self.bought: dict[str, Manifold] = bought.build(*given)

    @classmethod
    def of(cls, display: str = "display", button: str = "button") -> Case:
        """Return the case of box.toml and case.toml; raises HandbellError for a missing size.

        ``display`` and ``button`` name the tables that are taken for these two parts.
        """
        return cls(part_sizes(display, button), choices())

    def on_bed(self, name: str) -> Manifold:
        """Return a printed part as it lies on the printer's bed; the back is turned over."""
        return on_bed(self.printed[name], turned=name == "back")

    def plastic_g(self) -> float:
        """Return the mass of what is printed, in g, by the density and fill of case.toml."""
        volume = sum(solid.volume() for solid in self.printed.values()) / 1000
        return float(volume * self.own.print.density_g_cm3 * self.own.print.filled)
