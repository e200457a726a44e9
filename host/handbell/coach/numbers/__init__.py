"""A plan in numbers."""
