"""Digests: the short one that boxes, logs and timelines are named by, and the whole one."""

from __future__ import annotations

import hashlib

from handbell_core.timeline import DIGEST_SIZE


def short_digest(data: bytes) -> bytes:
    """Return the first 12 bytes of the SHA-256 (FIPS 180-4), as a box names a file."""
    return hashlib.sha256(data).digest()[:DIGEST_SIZE]


def short_hex(data: bytes) -> str:
    """Return the short digest in hex."""
    return short_digest(data).hex()


def whole_hex(data: bytes) -> str:
    """Return the whole SHA-256 in hex."""
    return hashlib.sha256(data).hexdigest()
