"""Classes as they were: who was there, their taps, and whether boxes were in step."""
