"""Boxes on the wire: found, spoken to, and what they may answer."""
