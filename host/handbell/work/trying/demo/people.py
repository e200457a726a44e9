"""The demo's people: bib, invented name, and how they train."""

from __future__ import annotations

from typing import Any

PEOPLE: list[tuple[int, str, dict[str, Any]]] = [
    (1, "Ada", {"pace": 0.78, "tires": 0.05, "rating": 6}),
    (2, "Bo", {"pace": 0.92, "tires": 0.12, "slips": 0.06, "rating": 8}),
    (3, "Cleo", {"pace": 0.66, "tires": 0.03, "rating": 4}),
    (4, "Dario", {"pace": 0.98, "tires": 0.16, "gives_up": 0.25, "rating": 9}),
    (5, "Enid", {"pace": 0.84, "tires": 0.07, "slips": 0.08, "rating": 7}),
    (6, "Femi", {"pace": 0.72, "tires": 0.02, "hangs_on_s": 21, "rating": 5}),
    (7, "Gwen", {"pace": 0.88, "tires": 0.09, "rating": None}),
    (8, "Hal", {"pace": 1.06, "tires": 0.10, "hangs_on_s": 14, "rating": 10}),
]
