"""Of two counts of one window another one is taken than before, so sums are made anew."""

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Change no table; ``settle`` adds up again."""
