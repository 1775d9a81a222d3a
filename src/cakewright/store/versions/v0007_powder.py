"""The powder ledger: entries in whole grams that are written once; levels follow from them and never go below zero."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import after_insert, numbered_without_gap, written_once
from cakewright.store.types import Instant

revision = "0007_powder"
down_revision = "0006_physics_records"
branch_labels = None
depends_on = None

WRITTEN_ONCE = ("powder_lot", "powder_container", "powder_entry", "powder_remark", "powder_reading")


def upgrade() -> None:
    """Make the tables, guard what is written once, and let entries move the levels."""
    _lots_and_containers()
    _entries()
    _remarks()
    _shares()
    for table in WRITTEN_ONCE:
        written_once(table, "the powder ledger is written once: add a correcting entry")
    numbered_without_gap("powder_entry", "powder entries are numbered without a gap")
    after_insert(
        "powder_container_starts_empty",
        "powder_container",
        "INSERT INTO powder_level (container, may_owe, grams) VALUES (NEW.key, NEW.may_owe, 0)",
    )
    after_insert(
        "powder_entry_moves",
        "powder_entry",
        "UPDATE powder_level SET grams = grams - NEW.grams WHERE container = NEW.source",
        "UPDATE powder_level SET grams = grams + NEW.grams WHERE container = NEW.target",
    )


def _lots_and_containers() -> None:
    op.create_table(
        "powder_lot",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("supplier_lot", sa.Text(), nullable=False),
        sa.Column("received", sa.Date(), nullable=False),
        sa.Column("certificate", sa.Text(), nullable=False),
        sa.Column("expires", sa.Date(), nullable=True),
        sa.Column("storage", sa.Text(), nullable=False),
        sa.Column("melt_flow", sa.Float(), nullable=True),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_powder_lot"),
    )
    op.create_table(
        "powder_container",
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=True),
        sa.Column("capacity_g", sa.Integer(), nullable=True),
        sa.Column("plan", sa.Integer(), nullable=True),
        sa.Column("build", sa.Text(), nullable=True),
        sa.Column("may_owe", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["lot"], ["powder_lot.key"], name="fk_powder_container_lot_powder_lot"),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name="fk_powder_container_plan_build"),
        sa.PrimaryKeyConstraint("key", name="pk_powder_container"),
    )


def _entries() -> None:
    op.create_table(
        "powder_entry",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("target", sa.Text(), nullable=False),
        sa.Column("grams", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("exposures", sa.Integer(), nullable=False),
        sa.Column("dose_h", sa.Float(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.CheckConstraint("source <> target", name="ck_powder_entry_two_containers"),
        sa.CheckConstraint("corrects IS NOT NULL OR grams > 0", name="ck_powder_entry_something_moved"),
        sa.CheckConstraint("corrects IS NULL OR reason <> ''", name="ck_powder_entry_correction_has_reason"),
        sa.ForeignKeyConstraint(["source"], ["powder_container.key"], name="fk_powder_entry_source_powder_container"),
        sa.ForeignKeyConstraint(["target"], ["powder_container.key"], name="fk_powder_entry_target_powder_container"),
        sa.ForeignKeyConstraint(["corrects"], ["powder_entry.number"], name="fk_powder_entry_corrects_powder_entry"),
        sa.PrimaryKeyConstraint("number", name="pk_powder_entry"),
    )
    op.create_index("ix_powder_entry_source", "powder_entry", ["source"])
    op.create_index("ix_powder_entry_target", "powder_entry", ["target"])
    op.create_table(
        "powder_level",
        sa.Column("container", sa.Text(), nullable=False),
        sa.Column("may_owe", sa.Boolean(), nullable=False),
        sa.Column("grams", sa.Integer(), nullable=False),
        sa.CheckConstraint("may_owe OR grams >= 0", name="ck_powder_level_nothing_negative"),
        sa.ForeignKeyConstraint(
            ["container"], ["powder_container.key"], name="fk_powder_level_container_powder_container"
        ),
        sa.PrimaryKeyConstraint("container", name="pk_powder_level"),
    )


def _remarks() -> None:
    op.create_table(
        "powder_remark",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "about IN ('lot', 'container', 'machine', 'month')", name="ck_powder_remark_about_something"
        ),
        sa.PrimaryKeyConstraint("number", name="pk_powder_remark"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "powder_reading",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("container", sa.Text(), nullable=False),
        sa.Column("after_entry", sa.Integer(), nullable=False),
        sa.Column("melt_flow", sa.Float(), nullable=False),
        sa.Column("relative_sigma", sa.Float(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.CheckConstraint("melt_flow > 0 AND relative_sigma > 0", name="ck_powder_reading_above_zero"),
        sa.ForeignKeyConstraint(
            ["container"], ["powder_container.key"], name="fk_powder_reading_container_powder_container"
        ),
        sa.PrimaryKeyConstraint("number", name="pk_powder_reading"),
        sqlite_autoincrement=True,
    )


def _shares() -> None:
    """What recall asks: shares by origin of each build, and the pieces of a build by line."""
    op.create_table(
        "powder_share",
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("share", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name="fk_powder_share_plan_build"),
        sa.PrimaryKeyConstraint("origin", "plan", "build", name="pk_powder_share"),
    )
    op.create_index("ix_powder_share_plan_build", "powder_share", ["plan", "build"])
    op.create_index("ix_placement_plan_build_line", "placement", ["plan", "build", "line"])
