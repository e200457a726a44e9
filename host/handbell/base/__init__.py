"""What every other room stands on: errors, whole files, places, words and small sums."""
