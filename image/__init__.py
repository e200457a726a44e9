"""The image: MicroPython for the box's board with the firmware inside."""
