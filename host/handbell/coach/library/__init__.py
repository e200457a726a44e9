"""The library of exercises, its ladder, and what it makes worth saying about a plan."""
