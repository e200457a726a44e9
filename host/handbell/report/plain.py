"""Reports as JSON has them: dataclasses become dictionaries, days ISO 8601, choices their words."""

from __future__ import annotations

import dataclasses
from datetime import date
from enum import Enum
from typing import Any


def plain(value: Any) -> Any:
    """Return a value made of what JSON knows."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, Enum):
        return value.value
    return value.isoformat() if isinstance(value, date) else value
