"""Who goes where, so that kit and stations are enough."""
