"""How long the firmware takes to import and what it holds (after ``firmware``, first to use it)."""
# mypy: ignore-errors
# ruff: noqa: F821

gc.collect()
show(
    import_ms=import_us // 1000,
    modules_kb=(gc.mem_alloc() - _held) // 1024,
    gc_firmware_us=us(gc.collect),
)
