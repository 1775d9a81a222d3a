"""Heat of each build; job logs and probe readings, which can be neither changed nor taken away; what was learnt."""

from typing import Any

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import written_once
from cakewright.store.types import Instant

revision = "0006_physics_records"
down_revision = "0004_order_findings"
branch_labels = None
depends_on = None


def _numbers(*names: str) -> list[Any]:
    return [sa.Column(name, sa.Float(), nullable=False) for name in names]


def _texts(*names: str) -> list[Any]:
    return [sa.Column(name, sa.Text(), nullable=False) for name in names]


def _to_build(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=f"fk_{table}_plan_build")


def _of_build(table: str, *columns: Any, key: tuple[str, ...] = ()) -> None:
    op.create_table(
        table,
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        *columns,
        sa.PrimaryKeyConstraint("plan", "build", *key, name=f"pk_{table}"),
        _to_build(table),
    )


def _counted(table: str, *columns: Any) -> None:
    op.create_table(
        table,
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("at", Instant(), nullable=False),
        *_texts("by", "note"),
        *columns,
        sa.PrimaryKeyConstraint("number", name=f"pk_{table}"),
        sqlite_autoincrement=True,
    )


def upgrade() -> None:
    """Make the tables, and guard what people recorded."""
    _of_build(
        "build_heat",
        *_numbers("section_y_mm", "cell_height_mm", "cell_width_mm", "base_powder_mm"),
        *_numbers("dose_mean_h", "may_leave_s", "heat_error", "speed"),
    )
    _of_build(
        "heat_array",
        *_texts("name", "dtype", "shape"),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        key=("name",),
    )
    _of_build(
        "piece_heat",
        sa.Column("position", sa.Integer(), nullable=False),
        *_texts("piece"),
        *_numbers("opening_early_s", "opening_likely_s", "opening_late_s"),
        *_numbers("at_print_end_c", "solid_s", "hours_soft", "front_c_mm"),
        key=("position",),
    )
    _of_build(
        "heat_finding",
        sa.Column("position", sa.Integer(), nullable=False),
        *_texts("code", "severity", "message", "place", "remedy"),
        key=("position",),
    )
    _counted(
        "job_log",
        *_texts("machine", "log_name"),
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("starts", Instant(), nullable=True),
        sa.Column("ends", Instant(), nullable=True),
        sa.Column("total_s", sa.Float(), nullable=True),
        sa.Column("layer_s", sa.LargeBinary(), nullable=True),
        *_numbers("extra_layers_mm"),
        _to_build("job_log"),
    )
    terms = [f"{term}{end}" for term in ("fixed", "recoat", "hatch", "outline") for end in ("", "_low", "_high")]
    _counted(
        "time_fit",
        *_texts("machine"),
        sa.Column("builds", sa.Integer(), nullable=False),
        *_numbers(*terms, "relative_sigma"),
    )
    op.create_table(
        "fit_gap",
        sa.Column("fit", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        *_texts("build"),
        *_numbers("gap"),
        sa.PrimaryKeyConstraint("fit", "position", name="pk_fit_gap"),
        sa.ForeignKeyConstraint(["fit"], ["time_fit.number"], name="fk_fit_gap_fit_time_fit"),
    )
    _counted(
        "probe_reading",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        *_numbers("x_mm", "y_mm", "z_mm", "after_s", "celsius"),
        _to_build("probe_reading"),
    )
    _counted(
        "chamber_speed",
        *_texts("chamber_type", "basis"),
        sa.Column("readings", sa.Integer(), nullable=False),
        *_numbers("value", "low", "high"),
    )
    for table in ("job_log", "probe_reading"):
        written_once(table, f"records of {table} are written once")
