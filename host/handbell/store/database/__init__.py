"""The database: reached, its tables, and how older ones are brought up."""
