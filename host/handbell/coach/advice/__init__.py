"""What to change next week, for whom and why."""
