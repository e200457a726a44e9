"""The reader for TOML 1.0: the standard library's, or its twin before Python 3.11."""

from __future__ import annotations

import sys

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

TOMLDecodeError = tomllib.TOMLDecodeError
loads = tomllib.loads

__all__ = ["TOMLDecodeError", "loads"]
