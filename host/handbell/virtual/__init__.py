"""Virtual boxes: the real firmware under real MicroPython, with modelled parts and time."""
