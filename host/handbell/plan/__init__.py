"""Plans: the coach's TOML file for one class, read, checked and held as a model."""
