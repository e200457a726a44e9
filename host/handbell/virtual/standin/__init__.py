"""What a virtual box's MicroPython finds instead of the chip's own modules.

This folder is put before the firmware on MICROPYPATH. Only `_frames` and `_rtc` are
read by both sides.
"""
