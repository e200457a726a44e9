"""Exports: tables for other programs."""
