"""What each bib's exercises come to, so that months are read in a second."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the table; it is then filled by ``settle``."""
    counts = ("read", "pressed", "judged", "made", "reps", "timed", "rates")
    lengths = ("earned_rest_ms", "held_ms")
    op.create_table(
        "sums",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("window", sa.Integer, nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("asked", sa.LargeBinary, nullable=False),
        *(sa.Column(name, sa.Integer, nullable=False) for name in counts + lengths),
        sa.Column("rate_sum", sa.Float, nullable=False),
        sa.PrimaryKeyConstraint("run", "window", "slot", name="pk_sums"),
    )
    with op.batch_alter_table("results") as results:  # a server checks it for every single row
        results.drop_constraint("fk_results_run", type_="foreignkey")
