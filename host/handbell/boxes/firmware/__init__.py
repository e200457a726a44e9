"""Firmware onto a board: as files or as an image."""
