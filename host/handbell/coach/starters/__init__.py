"""Plans to start from, a block of each form."""
