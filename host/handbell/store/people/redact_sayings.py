"""Taking a person out of what is kept of a saying, so that taking it back brings nobody back."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from handbell.store.results.sayings import packed, unpacked

from .names import key_of
from .redact import without_name

# Who wore a bib is nobody then; so an unnamed bib is not one of which nobody spoke. Earlier
# versions kept a name where there is an id now.
NOBODY = {"person": None, "name": None, "said": ""}


def without_in_saying(kept: bytes, name: str, ids: Collection[str]) -> bytes | None:
    """Return what is kept of a saying without a person, None if they do not stand there."""

    def plain(value: Any) -> Any:
        if isinstance(value, dict):
            return {
                field: NOBODY[field] if field in NOBODY and is_mine(one) else plain(one)
                for field, one in value.items()
            }
        if isinstance(value, list):
            return [plain(one) for one in value]
        if not isinstance(value, str):
            return value
        without = without_name(value, name)
        return "" if is_mine(value) else value if without is None else without

    def is_mine(value: Any) -> bool:
        return isinstance(value, str) and (value in ids or key_of(value) == key_of(name))

    was = unpacked(kept)
    now = plain(was)
    return None if now == was else packed(now)
