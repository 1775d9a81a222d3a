"""Tables of accounts, sessions, wrong passwords, and the chained record of what was changed."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, String, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

account = Table(
    "account",
    metadata,
    Column("name", Text, primary_key=True),
    Column("role", Text, nullable=False),
    Column("password", Text, nullable=False),
    Column("is_open", Boolean, nullable=False),
    Column("made_at", Instant, nullable=False),
)

session = Table(
    "session",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("account", Text, ForeignKey("account.name"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("until", Instant, nullable=False),
)

wrong_password = Table(
    "wrong_password",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("name", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Index("ix_wrong_password_name", "name"),
    sqlite_autoincrement=True,
)

audit = Table(
    "audit",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("at", Instant, nullable=False),
    Column("account", Text, nullable=False),
    Column("deed", Text, nullable=False),
    Column("outcome", Integer, nullable=False),
    Column("before", String(64), nullable=False),
    Column("digest", String(64), nullable=False),
)
