"""The device: the loop around the core, and the drivers of its parts."""

FIRMWARE = "0.1.0"
