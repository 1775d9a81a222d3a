"""The log of the floor: written once, each record known by the name it got where it was written."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, LargeBinary, String, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

floor_record = Table(
    "floor_record",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("uid", String(64), nullable=False, unique=True),
    Column("plan", Integer, ForeignKey("plan.version"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("kept_at", Instant, nullable=False),
    Column("build", Text, nullable=False),
    Column("line", Integer, nullable=True),
    Column("piece", Text, nullable=False),
    Column("data", Text, nullable=False),
    Index("ix_floor_record_plan_kind", "plan", "kind"),
    sqlite_autoincrement=True,
)

photo = Table(
    "photo",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("uid", String(64), nullable=False, unique=True),
    Column("plan", Integer, ForeignKey("plan.version"), nullable=False),
    Column("build", Text, nullable=False),
    Column("line", Integer, nullable=True),
    Column("by", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("kept_at", Instant, nullable=False),
    Column("note", Text, nullable=False),
    Column("media_type", String(20), nullable=False),
    Column("content", LargeBinary, nullable=False),
    Index("ix_photo_plan_build", "plan", "build"),
    sqlite_autoincrement=True,
)
