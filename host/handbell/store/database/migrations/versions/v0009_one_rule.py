"""Of which class a log without a clock is, one rule says now, so all are filed anew."""

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Change no table; ``joining`` files anew what is there."""
