"""The tables of quotes: revisions and events are written once."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKeyConstraint, Integer, PrimaryKeyConstraint, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

offer = Table(
    "offer",
    metadata,
    Column("number", Integer, nullable=False),
    Column("issue", Integer, nullable=False),
    Column("customer", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("file_sha256", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("content", Text, nullable=False),
    PrimaryKeyConstraint("number", "issue"),
    CheckConstraint("issue > 0", name="issues_from_one"),
)

offer_event = Table(
    "offer_event",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("number", Integer, nullable=False),
    Column("issue", Integer, nullable=False),
    Column("state", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("note", Text, nullable=False),
    ForeignKeyConstraint(["number", "issue"], ["offer.number", "offer.issue"]),
    sqlite_autoincrement=True,
)
