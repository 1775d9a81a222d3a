"""Whose files an account sees, until when they are kept, and what was deleted."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0016_customers"
down_revision = "0015_photos"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables; dates and deletions are written once."""
    op.create_table(
        "account_customer",
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["account.name"], name="fk_account_customer_account_account"),
        sa.PrimaryKeyConstraint("account", "customer", name="pk_account_customer"),
    )
    op.create_table(
        "customer_date",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("delete_on", sa.Date(), nullable=True),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_customer_date"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "customer_deletion",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("report", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_customer_deletion"),
        sqlite_autoincrement=True,
    )
    written_once("customer_date", "a date is written once: set another one, the last counts")
    written_once("customer_deletion", "what was deleted is on record once and for all")
