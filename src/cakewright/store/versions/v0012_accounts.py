"""Accounts, sessions, and the chained record of what was changed."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import numbered_without_gap, written_once
from cakewright.store.types import Instant

revision = "0012_accounts"
down_revision = "0011_powder_orders"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables; the record is written once and numbered without a gap."""
    op.create_table(
        "account",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password", sa.Text(), nullable=False),
        sa.Column("is_open", sa.Boolean(), nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("name", name="pk_account"),
    )
    op.create_table(
        "session",
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("until", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["account"], ["account.name"], name="fk_session_account_account"),
        sa.PrimaryKeyConstraint("digest", name="pk_session"),
    )
    op.create_table(
        "wrong_password",
        sa.Column("id", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_wrong_password"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_wrong_password_name", "wrong_password", ["name"])
    op.create_table(
        "audit",
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("account", sa.Text(), nullable=False),
        sa.Column("deed", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Integer(), nullable=False),
        sa.Column("before", sa.String(64), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_audit"),
    )
    written_once("audit", "the record of changes is written once")
    numbered_without_gap("audit", "the record of changes is numbered without a gap")
