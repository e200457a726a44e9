"""What came of weeks and months: one athlete, and the group."""
