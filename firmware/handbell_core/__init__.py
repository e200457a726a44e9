"""The core that boxes and host share: pure Python, no I/O, no clock, integers only for time.

Runs unchanged under CPython 3.10+ and MicroPython 1.28+.
"""
