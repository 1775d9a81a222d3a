"""Pieces that somebody has pinned: the next nest leaves them where they stand."""

import sqlalchemy as sa
from alembic import op

revision = "0013_pinned"
down_revision = "0012_accounts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """A word on each placed piece; none was pinned so far."""
    op.add_column("placement", sa.Column("pinned", sa.Boolean(), nullable=False, server_default=sa.false()))
