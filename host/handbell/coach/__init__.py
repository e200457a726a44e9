"""The coach's judgement as data and rules: exercises, what may replace them, remarks on a plan."""
