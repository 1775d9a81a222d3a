"""Which way up a part revision may stand, written once; the direction that counts as up; signatures of known shapes."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0005_part_records"
down_revision = "0009_offers"  # the order of the chain counts, not the number
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables. Parts kept so far have the file's Z as up."""
    for axis, usual in (("x", "0"), ("y", "0"), ("z", "1")):
        op.add_column("part", sa.Column(f"up_{axis}", sa.Float(), nullable=False, server_default=usual))
    op.create_table(
        "part_rule",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("freedom", sa.Text(), nullable=False),
        sa.Column("cone_deg", sa.Float(), nullable=False),
        sa.Column("up_x", sa.Float(), nullable=False),
        sa.Column("up_y", sa.Float(), nullable=False),
        sa.Column("up_z", sa.Float(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_part_rule"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "part_signature",
        sa.Column("mesh_sha256", sa.String(64), nullable=False),
        sa.Column("method", sa.Integer(), nullable=False),
        sa.Column("numbers", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["mesh_sha256"], ["mesh.sha256"], name="fk_part_signature_mesh_sha256_mesh"),
        sa.PrimaryKeyConstraint("mesh_sha256", "method", name="pk_part_signature"),
    )
    written_once("part_rule", "a rule is written once: write a new one")
