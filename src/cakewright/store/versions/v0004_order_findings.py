"""Doubts about the order list are kept apart from doubts about the plan."""

import sqlalchemy as sa
from alembic import op

revision = "0004_order_findings"
down_revision = "0003_jobs"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Tell for each finding whether it is about the order list; those kept so far are not."""
    op.add_column("finding", sa.Column("about_orders", sa.Boolean(), nullable=False, server_default=sa.false()))
