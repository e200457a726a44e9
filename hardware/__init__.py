"""The box's hardware: read from ``box.toml``, checked by rules, drawn and tabled.

``python -m hardware.build`` makes every artefact, ``--check`` proves that all are current.
"""
