"""Commands on a plan: write, check, change, print it."""
