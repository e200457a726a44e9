"""How the store's tables came about, step by step; each step is run once, by alembic."""
