"""Which faces of a part revision must look good: the whole list each time, written once; the newest counts."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant, Words

revision = "0017_marked_faces"
down_revision = "0016_customers"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "part_faces",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("places", Words(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_part_faces"),
        sqlite_autoincrement=True,
    )
    written_once("part_faces", "a list of faces is written once: write a new one")
