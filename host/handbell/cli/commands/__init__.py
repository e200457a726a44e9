"""One file a command: its arguments, the operation it calls, and how its result is told."""
