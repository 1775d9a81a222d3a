"""Pictures taken at a machine or a bench."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0015_photos"
down_revision = "0014_finding_values"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "photo",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(64), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text, nullable=False),
        sa.Column("line", sa.Integer, nullable=True),
        sa.Column("by", sa.Text, nullable=False),
        sa.Column("at", Instant, nullable=False),
        sa.Column("kept_at", Instant, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("media_type", sa.String(20), nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name="fk_photo_plan_plan"),
        sa.PrimaryKeyConstraint("number", name="pk_photo"),
        sa.UniqueConstraint("uid", name="uq_photo_uid"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_photo_plan_build", "photo", ["plan", "build"])
    written_once("photo", "pictures are written once: add another")
