"""Handbell: plan a circuit class, load it onto timer boxes, collect the taps, report."""

VERSION = "0.1.0"
