"""Contacts tell when a log without a clock was played, so all are filed anew."""

revision = "0011"
down_revision = "0010"


def upgrade() -> None:
    """Change no table; ``joining`` files anew what is there."""
