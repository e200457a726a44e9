"""Commands to try it all without boxes, and to see how things stand."""
