"""Commands on the boxes themselves: which, where, well, up to date."""
