"""The box's case: printed parts computed from the sizes in box.toml and the choices in case.toml.

Frame of all solids, in mm: x to the right and y up as seen from behind, z from the face (0) to the
wall. The bought parts stand in it as they sit in the case.
"""
