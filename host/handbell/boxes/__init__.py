"""Boxes on the wire: found, named, loaded, armed, read out."""
