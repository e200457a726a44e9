"""A box's log read and counted again."""
