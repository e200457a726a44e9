"""Bundles: what one coach hands to another."""
