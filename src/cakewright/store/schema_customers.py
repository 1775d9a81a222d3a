"""Tables about customers' files: which accounts see whose, until when they are kept, what was deleted."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, Integer, PrimaryKeyConstraint, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant

account_customer = Table(
    "account_customer",
    metadata,
    Column("account", Text, ForeignKey("account.name"), nullable=False),
    Column("customer", Text, nullable=False),
    PrimaryKeyConstraint("account", "customer"),
)

customer_date = Table(
    "customer_date",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("customer", Text, nullable=False),
    Column("delete_on", Date, nullable=True),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("note", Text, nullable=False),
    sqlite_autoincrement=True,
)

customer_deletion = Table(
    "customer_deletion",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("customer", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("by", Text, nullable=False),
    Column("report", Text, nullable=False),
    sqlite_autoincrement=True,
)
