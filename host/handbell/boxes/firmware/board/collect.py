"""How long the garbage collector takes, on a bare heap and with 74 KB of small objects."""
# mypy: ignore-errors
# ruff: noqa: F821

import gc

gc.collect()
empty_us = us(gc.collect)
held = []
while gc.mem_alloc() < 74_000:
    for n in range(100):
        held.append((n, n))
gc.collect()
show(gc_bare_us=empty_us, gc_74kb_us=us(gc.collect))
held = None
gc.collect()
