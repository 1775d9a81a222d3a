"""The log of the floor: releases, checks, scans, measured values, baskets, nonconformances; written once."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0010_floor_log"
down_revision = "0005_part_records"  # the order of the chain counts, not the number
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and guard it."""
    op.create_table(
        "floor_record",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("uid", sa.String(64), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("kept_at", Instant(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=True),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name="fk_floor_record_plan_plan"),
        sa.PrimaryKeyConstraint("number", name="pk_floor_record"),
        sa.UniqueConstraint("uid", name="uq_floor_record_uid"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_floor_record_plan_kind", "floor_record", ["plan", "kind"])
    written_once("floor_record", "records of the floor are written once: add another")
