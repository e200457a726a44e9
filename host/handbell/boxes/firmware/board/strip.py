"""How long a write of the light strip keeps interrupts off. The lamps stay dark."""
# mypy: ignore-errors
# ruff: noqa: F821

_strip = board.strip()
show(strip_us=max([us(_strip.write) for _ in range(20)]))
