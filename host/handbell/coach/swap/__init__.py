"""Replacing an exercise of a plan by one that fits."""
