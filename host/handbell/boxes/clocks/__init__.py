"""Clocks of boxes: set, rated, and how far they may part."""
