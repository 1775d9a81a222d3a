"""Dates if a build fails; committed plans, what really began and ended, stopped builds: written once."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0008_schedule"
down_revision = "0007_powder"
branch_labels = None
depends_on = None

WRITTEN_ONCE = ("commitment", "progress", "stop")


def _need(name: str, kind: Any) -> sa.Column[Any]:
    return sa.Column(name, kind, nullable=False)


def _number() -> sa.Column[Any]:
    return sa.Column("number", sa.Integer(), autoincrement=True, nullable=False)


def _who() -> tuple[sa.Column[Any], ...]:
    return _need("at", Instant()), _need("by", sa.Text()), _need("note", sa.Text())


def upgrade() -> None:
    """Add the columns, make the tables, guard them."""
    op.add_column("promise", sa.Column("if_fails", Instant(), nullable=True))
    op.add_column("promise", sa.Column("start_pieces", sa.Integer(), nullable=True))
    op.create_table(
        "commitment",
        _number(),
        _need("plan", sa.Integer()),
        _need("until", Instant()),
        *_who(),
        sa.PrimaryKeyConstraint("number", name="pk_commitment"),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name="fk_commitment_plan_plan"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "progress",
        _number(),
        _need("plan", sa.Integer()),
        _need("kind", sa.Text()),
        _need("build", sa.Text()),
        sa.Column("line", sa.Integer(), nullable=True),
        sa.Column("started", Instant(), nullable=True),
        sa.Column("ended", Instant(), nullable=True),
        *_who(),
        sa.CheckConstraint("ended IS NULL OR started IS NULL OR ended >= started", name="ck_progress_ends_after_start"),
        sa.PrimaryKeyConstraint("number", name="pk_progress"),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name="fk_progress_plan_plan"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_progress_plan", "progress", ["plan"])
    op.create_table(
        "stop",
        _number(),
        _need("plan", sa.Integer()),
        _need("build", sa.Text()),
        _need("layer", sa.Integer()),
        _need("cause", sa.Text()),
        _need("margin_mm", sa.Float()),
        _need("stopped", Instant()),
        _need("recovery", sa.Text()),
        sa.Column("new_plan", sa.Integer(), nullable=True),
        *_who(),
        sa.CheckConstraint("layer >= 0", name="ck_stop_layer_counted"),
        sa.PrimaryKeyConstraint("number", name="pk_stop"),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name="fk_stop_plan_build"),
        sa.ForeignKeyConstraint(["new_plan"], ["plan.version"], name="fk_stop_new_plan_plan"),
        sqlite_autoincrement=True,
    )
    for table in WRITTEN_ONCE:
        written_once(table, "the record of the week is written once: add what is right")
