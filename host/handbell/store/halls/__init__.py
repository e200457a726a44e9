"""Halls: the one of this computer, and what the store knows of all."""
