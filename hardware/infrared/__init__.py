"""How far a remote's infra-red telegrams reach in a hall, and how sure they are.

A model, not a measurement; ``docs/engineers/infrared.md`` shows what came of it and says what a
real hall must show. ``python -m hardware.infrared write`` renews the page. Needs numpy, which only
developers have.
"""
