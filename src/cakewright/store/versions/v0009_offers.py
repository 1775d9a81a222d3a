"""Quotes: revisions and their steps, written once."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0009_offers"
down_revision = "0008_schedule"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables and guard them."""
    op.create_table(
        "offer",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("issue", sa.Integer(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("file_sha256", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", "issue", name="pk_offer"),
        sa.CheckConstraint("issue > 0", name="ck_offer_issues_from_one"),
    )
    op.create_table(
        "offer_event",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("issue", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["number", "issue"], ["offer.number", "offer.issue"], name="fk_offer_event_number_offer"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_offer_event"),
        sqlite_autoincrement=True,
    )
    for table in ("offer", "offer_event"):
        written_once(table, "quotes are written once: make a new issue")
