"""The tables about part revisions: which way up, and the shapes that are known."""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Integer, LargeBinary, PrimaryKeyConstraint, String, Table, Text

from cakewright.store.schema import metadata
from cakewright.store.types import Instant, Words

rule = Table(
    "part_rule",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("name", Text, nullable=False),
    Column("revision", Text, nullable=False),
    Column("freedom", Text, nullable=False),
    Column("cone_deg", Float, nullable=False),
    Column("up_x", Float, nullable=False),
    Column("up_y", Float, nullable=False),
    Column("up_z", Float, nullable=False),
    Column("reason", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Instant, nullable=False),
    sqlite_autoincrement=True,
)

faces = Table(
    "part_faces",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("name", Text, nullable=False),
    Column("revision", Text, nullable=False),
    Column("places", Words, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Instant, nullable=False),
    sqlite_autoincrement=True,
)

signature = Table(
    "part_signature",
    metadata,
    Column("mesh_sha256", String(64), ForeignKey("mesh.sha256"), nullable=False),
    Column("method", Integer, nullable=False),
    Column("numbers", LargeBinary, nullable=False),
    PrimaryKeyConstraint("mesh_sha256", "method"),
)
