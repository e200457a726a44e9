"""On a server each hall has its part of every table, and keys begin with the hall.

A file stays as it is. On a server ``database/parts`` lays out every table after the last step.
"""

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    """Change no table here."""
