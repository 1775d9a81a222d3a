"""The first tables: plans as versions, with everything that belongs to them."""

import sqlalchemy as sa
from alembic import op

from cakewright.store.guards import is_server
from cakewright.store.types import Instant, Whole, Words

revision = "0001_first_tables"
down_revision = None
branch_labels = None
depends_on = None

APPLICATION_ID = 0x63616B65  # 'cake': lets `file` and other tools tell what the database is


def upgrade() -> None:
    """Make the tables."""
    if not is_server():
        op.execute(f"PRAGMA application_id={APPLICATION_ID}")
    op.create_table(
        "cell",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_cell")),
    )
    op.create_table(
        "mesh",
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("vertex_count", sa.Integer(), nullable=False),
        sa.Column("face_count", sa.Integer(), nullable=False),
        sa.Column("vertices", sa.LargeBinary(), nullable=False),
        sa.Column("faces", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name=op.f("pk_mesh")),
    )
    op.create_table(
        "plan",
        sa.Column("version", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("made_at", Instant(), nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("starts", Instant(), nullable=False),
        sa.Column("seed", Whole, nullable=False),
        sa.Column("cell_sha256", sa.String(length=64), nullable=False),
        sa.Column("order_source", sa.Text(), nullable=False),
        sa.Column("schedule_starts", Instant(), nullable=False),
        sa.Column("schedule_method", sa.Text(), nullable=False),
        sa.Column("schedule_validated", sa.Boolean(), nullable=False),
        sa.Column("schedule_notes", Words(), nullable=False),
        sa.CheckConstraint("version > 0", name=op.f("ck_plan_counted_from_one")),
        sa.ForeignKeyConstraint(["cell_sha256"], ["cell.sha256"], name=op.f("fk_plan_cell_sha256_cell")),
        sa.PrimaryKeyConstraint("version", name=op.f("pk_plan")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "build",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("machine", sa.Text(), nullable=False),
        sa.Column("chamber_type", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("base_x_mm", sa.Float(), nullable=False),
        sa.Column("base_y_mm", sa.Float(), nullable=False),
        sa.Column("height_mm", sa.Float(), nullable=False),
        sa.Column("density", sa.Float(), nullable=False),
        sa.Column("clearance_mm", sa.Float(), nullable=False),
        sa.Column("voxel_mm", sa.Float(), nullable=False),
        sa.Column("nest_seed", Whole, nullable=False),
        sa.Column("nest_seconds", sa.Float(), nullable=False),
        sa.Column("nest_notes", Words(), nullable=False),
        sa.Column("layers", sa.Integer(), nullable=False),
        sa.Column("layer_mm", sa.Float(), nullable=False),
        sa.Column("warm_up_s", sa.Float(), nullable=False),
        sa.Column("recoat_s", sa.Float(), nullable=False),
        sa.Column("scan_s", sa.Float(), nullable=False),
        sa.Column("waiting_s", sa.Float(), nullable=False),
        sa.Column("end_s", sa.Float(), nullable=False),
        sa.Column("relative_sigma", sa.Float(), nullable=False),
        sa.Column("cooling_target_c", sa.Float(), nullable=False),
        sa.Column("opening_early_s", sa.Float(), nullable=False),
        sa.Column("opening_likely_s", sa.Float(), nullable=False),
        sa.Column("opening_late_s", sa.Float(), nullable=False),
        sa.Column("hottest_x_mm", sa.Float(), nullable=False),
        sa.Column("hottest_y_mm", sa.Float(), nullable=False),
        sa.Column("hottest_z_mm", sa.Float(), nullable=False),
        sa.Column("cooling_method", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_build_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "key", name=op.f("pk_build")),
    )
    op.create_table(
        "part",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("mesh_sha256", sa.String(length=64), nullable=False),
        sa.Column("volume_mm3", sa.Float(), nullable=False),
        sa.Column("area_mm2", sa.Float(), nullable=False),
        sa.Column("size_x_mm", sa.Float(), nullable=False),
        sa.Column("size_y_mm", sa.Float(), nullable=False),
        sa.Column("size_z_mm", sa.Float(), nullable=False),
        sa.Column("triangles", sa.Integer(), nullable=False),
        sa.Column("shells", sa.Integer(), nullable=False),
        sa.Column("is_watertight", sa.Boolean(), nullable=False),
        sa.Column("is_oriented", sa.Boolean(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("file_sha256", sa.Text(), nullable=False),
        sa.Column("format", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("unit_reason", sa.Text(), nullable=False),
        sa.Column("unit_confidence", sa.Float(), nullable=False),
        sa.Column("freedom", sa.Text(), nullable=False),
        sa.Column("freedom_reason", sa.Text(), nullable=False),
        sa.Column("cone_deg", sa.Float(), nullable=False),
        sa.Column("is_delicate", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["mesh_sha256"], ["mesh.sha256"], name=op.f("fk_part_mesh_sha256_mesh")),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_part_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "key", name=op.f("pk_part")),
    )
    op.create_table(
        "set_aside",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_set_aside_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "position", name=op.f("pk_set_aside")),
    )
    op.create_table(
        "task",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("starts", Instant(), nullable=False),
        sa.Column("ends", Instant(), nullable=False),
        sa.Column("machine", sa.Text(), nullable=False),
        sa.Column("chamber", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.CheckConstraint("ends >= starts", name=op.f("ck_task_ends_after_start")),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_task_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "position", name=op.f("pk_task")),
    )
    op.create_table(
        "timing",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_timing_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "name", name=op.f("pk_timing")),
    )
    op.create_table(
        "cooling_point",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("after_s", sa.Float(), nullable=False),
        sa.Column("core_c", sa.Float(), nullable=False),
        sa.Column("skin_c", sa.Float(), nullable=False),
        sa.Column("mean_c", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_cooling_point_plan_build")
        ),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_cooling_point")),
    )
    op.create_table(
        "finding",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("part_key", sa.Text(), nullable=True),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("at_x_mm", sa.Float(), nullable=True),
        sa.Column("at_y_mm", sa.Float(), nullable=True),
        sa.Column("at_z_mm", sa.Float(), nullable=True),
        sa.ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"], name=op.f("fk_finding_plan_part")),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_finding_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "number", name=op.f("pk_finding")),
    )
    op.create_table(
        "hook",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("waits_for", Words(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_hook_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_hook")),
    )
    op.create_table(
        "layer_array",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("dtype", sa.Text(), nullable=False),
        sa.Column("length", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_layer_array_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "name", name=op.f("pk_layer_array")),
    )
    op.create_table(
        "left_out",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_left_out_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_left_out")),
    )
    op.create_table(
        "order_line",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("order_number", sa.Text(), nullable=False),
        sa.Column("received", sa.Date(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Integer(), nullable=False),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("finish", sa.Text(), nullable=False),
        sa.Column("quality_class", sa.Text(), nullable=False),
        sa.Column("due", sa.Date(), nullable=False),
        sa.Column("file", sa.Text(), nullable=True),
        sa.Column("nominal_x_mm", sa.Float(), nullable=True),
        sa.Column("nominal_y_mm", sa.Float(), nullable=True),
        sa.Column("nominal_z_mm", sa.Float(), nullable=True),
        sa.Column("nominal_volume_cm3", sa.Float(), nullable=True),
        sa.Column("flags", Words(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("part_key", sa.Text(), nullable=True),
        sa.CheckConstraint("quantity > 0", name=op.f("ck_order_line_at_least_one")),
        sa.ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"], name=op.f("fk_order_line_plan_part")),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_order_line_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "line", name=op.f("pk_order_line")),
    )
    op.create_table(
        "outside",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("by_mm", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_outside_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_outside")),
    )
    op.create_table(
        "powder_need",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("charge_kg", sa.Float(), nullable=False),
        sa.Column("virgin_kg", sa.Float(), nullable=False),
        sa.Column("used_kg", sa.Float(), nullable=False),
        sa.Column("in_parts_kg", sa.Float(), nullable=False),
        sa.Column("loss_kg", sa.Float(), nullable=False),
        sa.Column("back_kg", sa.Float(), nullable=False),
        sa.Column("refresh_ratio", sa.Float(), nullable=False),
        sa.Column("break_even_ratio", sa.Float(), nullable=False),
        sa.Column("surplus_kg", sa.Float(), nullable=False),
        sa.Column("refresh_reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_powder_need_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", name=op.f("pk_powder_need")),
    )
    op.create_table(
        "removal_step",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_removal_step_plan_build")
        ),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_removal_step")),
    )
    op.create_table(
        "stuck_piece",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("group_number", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_stuck_piece_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_stuck_piece")),
    )
    op.create_table(
        "task_person",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "task"], ["task.plan", "task.position"], name=op.f("fk_task_person_plan_task")
        ),
        sa.PrimaryKeyConstraint("plan", "task", "position", name=op.f("pk_task_person")),
    )
    op.create_table(
        "too_near",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("first", sa.Text(), nullable=False),
        sa.Column("second", sa.Text(), nullable=False),
        sa.Column("gap_mm", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_too_near_plan_build")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_too_near")),
    )
    op.create_table(
        "verification",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("clearance_mm", sa.Float(), nullable=False),
        sa.Column("tightest_first", sa.Text(), nullable=True),
        sa.Column("tightest_second", sa.Text(), nullable=True),
        sa.Column("tightest_gap_mm", sa.Float(), nullable=True),
        sa.Column("pairs_checked", Whole, nullable=False),
        sa.Column("seconds", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_verification_plan_build")
        ),
        sa.PrimaryKeyConstraint("plan", "build", name=op.f("pk_verification")),
    )
    op.create_table(
        "build_line",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_build_line_plan_build")),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_build_line_plan_order_line")
        ),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_build_line")),
    )
    op.create_table(
        "cost",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("machine", sa.Float(), nullable=False),
        sa.Column("powder_in_parts", sa.Float(), nullable=False),
        sa.Column("refresh_burden", sa.Float(), nullable=False),
        sa.Column("hands", sa.Float(), nullable=False),
        sa.Column("finish", sa.Float(), nullable=False),
        sa.Column("risk", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_cost_plan_order_line")
        ),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_cost_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "line", name=op.f("pk_cost")),
    )
    op.create_table(
        "line_reason",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_line_reason_plan_build")),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_line_reason_plan_order_line")
        ),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_line_reason")),
    )
    op.create_table(
        "placement",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("build", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("part_key", sa.Text(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("r00", sa.Float(), nullable=False),
        sa.Column("r01", sa.Float(), nullable=False),
        sa.Column("r02", sa.Float(), nullable=False),
        sa.Column("r10", sa.Float(), nullable=False),
        sa.Column("r11", sa.Float(), nullable=False),
        sa.Column("r12", sa.Float(), nullable=False),
        sa.Column("r20", sa.Float(), nullable=False),
        sa.Column("r21", sa.Float(), nullable=False),
        sa.Column("r22", sa.Float(), nullable=False),
        sa.Column("x_mm", sa.Float(), nullable=False),
        sa.Column("y_mm", sa.Float(), nullable=False),
        sa.Column("z_mm", sa.Float(), nullable=False),
        sa.Column("z_min_mm", sa.Float(), nullable=False),
        sa.Column("z_max_mm", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"], name=op.f("fk_placement_plan_build")),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_placement_plan_order_line")
        ),
        sa.ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"], name=op.f("fk_placement_plan_part")),
        sa.PrimaryKeyConstraint("plan", "build", "position", name=op.f("pk_placement")),
        sa.UniqueConstraint("plan", "piece", name=op.f("uq_placement_plan")),
    )
    op.create_table(
        "promise",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("ready", Instant(), nullable=True),
        sa.Column("due_by", Instant(), nullable=False),
        sa.Column("p50", Instant(), nullable=True),
        sa.Column("p90", Instant(), nullable=True),
        sa.Column("on_time_probability", sa.Float(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_promise_plan_order_line")
        ),
        sa.ForeignKeyConstraint(["plan"], ["plan.version"], name=op.f("fk_promise_plan_plan")),
        sa.PrimaryKeyConstraint("plan", "line", name=op.f("pk_promise")),
    )
    op.create_table(
        "task_line",
        sa.Column("plan", sa.Integer(), nullable=False),
        sa.Column("task", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["plan", "line"], ["order_line.plan", "order_line.line"], name=op.f("fk_task_line_plan_order_line")
        ),
        sa.ForeignKeyConstraint(["plan", "task"], ["task.plan", "task.position"], name=op.f("fk_task_line_plan_task")),
        sa.PrimaryKeyConstraint("plan", "task", "position", name=op.f("pk_task_line")),
    )
