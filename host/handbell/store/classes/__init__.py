"""Which logs are one class."""
