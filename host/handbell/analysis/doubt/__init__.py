"""What may not be what it looks like, and what that puts in doubt."""
