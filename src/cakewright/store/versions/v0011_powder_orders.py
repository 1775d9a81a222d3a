"""For whom the pieces of a printed build are, counted once, so that a recall need not count a million pieces."""

import sqlalchemy as sa
from alembic import op

revision = "0011_powder_orders"
down_revision = "0010_floor_log"  # the order of the chain counts, not the number
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table and fill it for the builds that have shares already."""
    op.create_table(
        "powder_order",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("order_number", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("pieces", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name="fk_powder_order_plan_build"),
        sa.PrimaryKeyConstraint("plan", "build", "order_number", "customer", name="pk_powder_order"),
    )
    op.execute(
        "INSERT INTO powder_order SELECT p.plan, p.build, l.order_number, l.customer, count(*) FROM placement p "
        "JOIN order_line l ON l.plan = p.plan AND l.line = p.line "
        "WHERE EXISTS (SELECT 1 FROM powder_share s WHERE s.plan = p.plan AND s.build = p.build) GROUP BY 1, 2, 3, 4"
    )
