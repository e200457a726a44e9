"""A class on its boxes: timelines sent, start set, logs collected."""
