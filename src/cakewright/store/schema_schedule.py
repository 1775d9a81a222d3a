"""The tables of the running week: which plan was committed, what really began and ended, builds that stopped."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Float, ForeignKey, ForeignKeyConstraint, Index, Integer, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

commitment = Table(
    "commitment",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("plan", Integer, ForeignKey("plan.version"), nullable=False),
    Column("until", Instant, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("note", Text, nullable=False),
    sqlite_autoincrement=True,
)

progress = Table(
    "progress",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("plan", Integer, ForeignKey("plan.version"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("build", Text, nullable=False),
    Column("line", Integer, nullable=True),
    Column("started", Instant, nullable=True),
    Column("ended", Instant, nullable=True),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("note", Text, nullable=False),
    CheckConstraint("ended IS NULL OR started IS NULL OR ended >= started", name="ends_after_start"),
    Index("ix_progress_plan", "plan"),
    sqlite_autoincrement=True,
)

stop = Table(
    "stop",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("plan", Integer, nullable=False),
    Column("build", Text, nullable=False),
    Column("layer", Integer, nullable=False),
    Column("cause", Text, nullable=False),
    Column("margin_mm", Float, nullable=False),
    Column("stopped", Instant, nullable=False),
    Column("recovery", Text, nullable=False),
    Column("new_plan", Integer, ForeignKey("plan.version"), nullable=True),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("note", Text, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    CheckConstraint("layer >= 0", name="layer_counted"),
    sqlite_autoincrement=True,
)
