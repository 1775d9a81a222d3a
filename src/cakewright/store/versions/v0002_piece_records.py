"""What people say about pieces at break-out; a record can be neither changed nor taken away."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0002_piece_records"
down_revision = "0001_first_tables"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and guard it."""
    op.create_table(
        "piece_record",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name="fk_piece_record_plan_build"),
        sa.ForeignKeyConstraint(
            ["plan", "piece"], ["placement.plan", "placement.piece"], name="fk_piece_record_plan_placement"
        ),
        sa.PrimaryKeyConstraint("number", name="pk_piece_record"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_piece_record_plan_build", "piece_record", ["plan", "build"])
    written_once("piece_record", "piece records are written once")
