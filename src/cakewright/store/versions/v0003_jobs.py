"""Long work that somebody asked for, how far it came and how it ended."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.types import Instant

revision = "0003_jobs"
down_revision = "0002_piece_records"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "job",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("asked_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("found", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name="fk_job_plan_plan"),
        sa.PrimaryKeyConstraint("number", name="pk_job"),
        sqlite_autoincrement=True,
    )
