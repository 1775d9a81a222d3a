"""Findings carry what was found and what it was judged by as numbers; heat findings their place as well."""

import sqlalchemy as sa
from alembic import op

revision = "0014_finding_values"
down_revision = "0013_pinned"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; findings kept so far have the numbers in their words only."""
    for table in ("finding", "heat_finding"):
        op.add_column(table, sa.Column("value", sa.Float(), nullable=True))
        op.add_column(table, sa.Column("limit", sa.Float(), nullable=True))
        op.add_column(table, sa.Column("unit", sa.Text(), nullable=False, server_default=""))
    for axis in "xyz":
        op.add_column("heat_finding", sa.Column(f"at_{axis}_mm", sa.Float(), nullable=True))
