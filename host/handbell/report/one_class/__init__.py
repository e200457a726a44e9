"""What came of one class: the figures, what is odd about them, and how they are shown."""
