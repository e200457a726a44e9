"""One small module a board: pins, parts and limits. The only place that names hardware."""
