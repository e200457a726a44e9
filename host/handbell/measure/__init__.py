"""A box on the table: every part measured, with a sheet of the figures."""
