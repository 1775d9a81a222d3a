"""The powder tables: lots, containers, entries in whole grams, remarks, readings, and what follows from them."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    Table,
    Text,
)

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

lot = Table(
    "powder_lot",
    metadata,
    Column("key", Text, primary_key=True),
    Column("material", Text, nullable=False),
    Column("supplier_lot", Text, nullable=False),
    Column("received", Date, nullable=False),
    Column("certificate", Text, nullable=False),
    Column("expires", Date, nullable=True),
    Column("storage", Text, nullable=False),
    Column("melt_flow", Float, nullable=True),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
)

container = Table(
    "powder_container",
    metadata,
    Column("key", Text, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("material", Text, nullable=False),
    Column("lot", Text, ForeignKey("powder_lot.key"), nullable=True),
    Column("capacity_g", Integer, nullable=True),
    Column("plan", Integer, nullable=True),
    Column("build", Text, nullable=True),
    Column("may_owe", Boolean, nullable=False),
    Column("note", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
)

entry = Table(
    "powder_entry",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("at", Instant, nullable=False),
    Column("kind", Text, nullable=False),
    Column("source", Text, ForeignKey("powder_container.key"), nullable=False),
    Column("target", Text, ForeignKey("powder_container.key"), nullable=False),
    Column("grams", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("exposures", Integer, nullable=False),
    Column("dose_h", Float, nullable=False),
    Column("corrects", Integer, ForeignKey("powder_entry.number"), nullable=True),
    CheckConstraint("source <> target", name="two_containers"),
    CheckConstraint("corrects IS NOT NULL OR grams > 0", name="something_moved"),
    CheckConstraint("corrects IS NULL OR reason <> ''", name="correction_has_reason"),
    Index("ix_powder_entry_source", "source"),
    Index("ix_powder_entry_target", "target"),
)

level = Table(
    "powder_level",
    metadata,
    Column("container", Text, ForeignKey("powder_container.key"), primary_key=True),
    Column("may_owe", Boolean, nullable=False),
    Column("grams", Integer, nullable=False),
    CheckConstraint("may_owe OR grams >= 0", name="nothing_negative"),
)

remark = Table(
    "powder_remark",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("about", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("value", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    CheckConstraint("about IN ('lot', 'container', 'machine', 'month')", name="about_something"),
    sqlite_autoincrement=True,
)

reading = Table(
    "powder_reading",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("container", Text, ForeignKey("powder_container.key"), nullable=False),
    Column("after_entry", Integer, nullable=False),
    Column("melt_flow", Float, nullable=False),
    Column("relative_sigma", Float, nullable=False),
    Column("note", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    CheckConstraint("melt_flow > 0 AND relative_sigma > 0", name="above_zero"),
    sqlite_autoincrement=True,
)

share = Table(
    "powder_share",
    metadata,
    Column("origin", Text, primary_key=True),
    Column("plan", Integer, primary_key=True),
    Column("build", Text, primary_key=True),
    Column("share", Float, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    Index("ix_powder_share_plan_build", "plan", "build"),
)

order = Table(
    "powder_order",
    metadata,
    Column("plan", Integer, primary_key=True),
    Column("build", Text, primary_key=True),
    Column("order_number", Text, primary_key=True),
    Column("customer", Text, primary_key=True),
    Column("pieces", Integer, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
)

WRITTEN_ONCE = ("powder_lot", "powder_container", "powder_entry", "powder_remark", "powder_reading")
