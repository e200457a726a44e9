"""What the taps say: pure functions over rows that the store gives."""
