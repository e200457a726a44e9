"""The demo: a whole class on virtual boxes, its people invented."""
