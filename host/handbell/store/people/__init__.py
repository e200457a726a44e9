"""People: names, bibs, and forgetting somebody."""
