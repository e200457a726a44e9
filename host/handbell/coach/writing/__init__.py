"""Changing a plan's text, and nothing else in it."""
