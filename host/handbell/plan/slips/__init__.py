"""What people write instead of TOML: found line by line, and said with the line to write."""

from .strangers import stranger
from .text import Slip, mended

__all__ = ["Slip", "mended", "stranger"]
