"""The tables, as SQLAlchemy sees them. They are made and changed by the migrations in `versions/` only."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)
from sqlalchemy.schema import SchemaItem
from sqlalchemy.types import Date, TypeEngine

from cakewright.store.types import Instant, Whole, Words

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _need(name: str, kind: TypeEngine[Any] | type[TypeEngine[Any]]) -> Column[Any]:
    return Column(name, kind, nullable=False)


def _maybe(name: str, kind: TypeEngine[Any] | type[TypeEngine[Any]]) -> Column[Any]:
    return Column(name, kind, nullable=True)


def _numbers(*names: str) -> list[Column[Any]]:
    return [_need(name, Float) for name in names]


def _texts(*names: str) -> list[Column[Any]]:
    return [_need(name, Text) for name in names]


def _table(name: str, *items: SchemaItem, **more: Any) -> Table:
    """A table; constraints go behind the columns they name, wherever they were written."""
    return Table(name, metadata, *sorted(items, key=lambda item: not isinstance(item, Column)), **more)


def _in_plan(*also: str) -> list[SchemaItem]:
    """Columns `plan` and `position` (place in the plan's list), which are the key unless `also` names it."""
    key = also or ("position",)
    return [
        Column("plan", Integer, ForeignKey("plan.version"), nullable=False),
        _need("position", Integer),
        PrimaryKeyConstraint("plan", *key),
    ]


def _in_build() -> list[SchemaItem]:
    return [
        _need("plan", Integer),
        _need("build", Text),
        _need("position", Integer),
        PrimaryKeyConstraint("plan", "build", "position"),
        ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    ]


def _to_line(column: str = "line") -> ForeignKeyConstraint:
    return ForeignKeyConstraint(["plan", column], ["order_line.plan", "order_line.line"])


cell = _table("cell", Column("sha256", String(64), primary_key=True), *_texts("name", "description"))

mesh = _table(
    "mesh",
    Column("sha256", String(64), primary_key=True),
    _need("vertex_count", Integer),
    _need("face_count", Integer),
    _need("vertices", LargeBinary),
    _need("faces", LargeBinary),
)

plan = _table(
    "plan",
    Column("version", Integer, primary_key=True, autoincrement=True),
    _need("made_at", Instant),
    _need("made_by", Text),
    _need("starts", Instant),
    _need("seed", Whole),
    Column("cell_sha256", String(64), ForeignKey("cell.sha256"), nullable=False),
    _need("order_source", Text),
    _need("schedule_starts", Instant),
    _need("schedule_method", Text),
    _need("schedule_validated", Boolean),
    _need("schedule_notes", Words),
    CheckConstraint("version > 0", name="counted_from_one"),
    sqlite_autoincrement=True,
)

timing = _table("timing", *_in_plan("name"), _need("name", Text), _need("seconds", Float))

part = _table(
    "part",
    *_in_plan("key"),
    *_texts("key", "name", "revision"),
    Column("mesh_sha256", String(64), ForeignKey("mesh.sha256"), nullable=False),
    *_numbers("volume_mm3", "area_mm2", "size_x_mm", "size_y_mm", "size_z_mm"),
    _need("triangles", Integer),
    _need("shells", Integer),
    _need("is_watertight", Boolean),
    _need("is_oriented", Boolean),
    *_texts("file", "file_sha256", "format", "unit", "unit_reason"),
    _need("unit_confidence", Float),
    *_texts("freedom", "freedom_reason"),
    _need("cone_deg", Float),
    *_numbers("up_x", "up_y", "up_z"),
    _need("is_delicate", Boolean),
)

order_line = _table(
    "order_line",
    *_in_plan("line"),
    _need("line", Integer),
    _need("order_number", Text),
    _need("received", Date),
    *_texts("customer", "part", "revision"),
    _need("quantity", Integer),
    *_texts("material", "finish", "quality_class"),
    _need("due", Date),
    _maybe("file", Text),
    *[_maybe(f"nominal_{axis}_mm", Float) for axis in "xyz"],
    _maybe("nominal_volume_cm3", Float),
    _need("flags", Words),
    _need("place", Text),
    _maybe("part_key", Text),
    ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"]),
    CheckConstraint("quantity > 0", name="at_least_one"),
)

finding = _table(
    "finding",
    *_in_plan("number"),
    _need("number", Integer),
    _maybe("part_key", Text),
    Column("about_orders", Boolean, nullable=False, server_default=false()),
    *_texts("code", "severity", "message", "place", "remedy"),
    *[_maybe(f"at_{axis}_mm", Float) for axis in "xyz"],
    _maybe("value", Float),
    _maybe("limit", Float),
    Column("unit", Text, nullable=False, server_default=""),
    ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"]),
)

build = _table(
    "build",
    *_in_plan("key"),
    *_texts("key", "material", "machine", "chamber_type", "reason"),
    *_numbers("base_x_mm", "base_y_mm", "height_mm", "density", "clearance_mm", "voxel_mm"),
    _need("nest_seed", Whole),
    _need("nest_seconds", Float),
    _need("nest_notes", Words),
    _need("layers", Integer),
    _need("layer_mm", Float),
    *_numbers("warm_up_s", "recoat_s", "scan_s", "waiting_s", "end_s", "relative_sigma"),
    *_numbers("cooling_target_c", "opening_early_s", "opening_likely_s", "opening_late_s"),
    *_numbers("hottest_x_mm", "hottest_y_mm", "hottest_z_mm"),
    _need("cooling_method", Text),
)

build_line = _table("build_line", *_in_build(), _need("line", Integer), _to_line())
line_reason = _table("line_reason", *_in_build(), _need("line", Integer), _need("reason", Text), _to_line())

placement = _table(
    "placement",
    *_in_build(),
    *_texts("piece", "part_key"),
    _need("line", Integer),
    *_numbers(*[f"r{i}{j}" for i in range(3) for j in range(3)], "x_mm", "y_mm", "z_mm", "z_min_mm", "z_max_mm"),
    Column("pinned", Boolean, nullable=False, server_default=false()),
    _to_line(),
    ForeignKeyConstraint(["plan", "part_key"], ["part.plan", "part.key"]),
    UniqueConstraint("plan", "piece"),
    Index("ix_placement_plan_build_line", "plan", "build", "line"),
)

left_out = _table("left_out", *_in_build(), *_texts("piece", "reason"), _need("line", Integer))

verification = _table(
    "verification",
    _need("plan", Integer),
    _need("build", Text),
    PrimaryKeyConstraint("plan", "build"),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    _need("clearance_mm", Float),
    _maybe("tightest_first", Text),
    _maybe("tightest_second", Text),
    _maybe("tightest_gap_mm", Float),
    _need("pairs_checked", Whole),
    _need("seconds", Float),
)
too_near = _table("too_near", *_in_build(), *_texts("first", "second"), _need("gap_mm", Float))
outside = _table("outside", *_in_build(), _need("piece", Text), _need("by_mm", Float))

removal_step = _table("removal_step", *_in_build(), _need("piece", Text))
stuck_piece = _table("stuck_piece", *_in_build(), _need("group_number", Integer), _need("piece", Text))
hook = _table("hook", *_in_build(), _need("piece", Text), _need("waits_for", Words))

layer_array = _table(
    "layer_array",
    _need("plan", Integer),
    _need("build", Text),
    _need("name", Text),
    PrimaryKeyConstraint("plan", "build", "name"),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    _need("dtype", Text),
    _need("length", Integer),
    _need("data", LargeBinary),
)
cooling_point = _table("cooling_point", *_in_build(), *_numbers("after_s", "core_c", "skin_c", "mean_c"))

powder_need = _table(
    "powder_need",
    _need("plan", Integer),
    _need("build", Text),
    PrimaryKeyConstraint("plan", "build"),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    *_numbers("charge_kg", "virgin_kg", "used_kg", "in_parts_kg", "loss_kg", "back_kg"),
    *_numbers("refresh_ratio", "break_even_ratio", "surplus_kg"),
    _need("refresh_reason", Text),
)

task = _table(
    "task",
    *_in_plan(),
    *_texts("kind", "build"),
    _need("starts", Instant),
    _need("ends", Instant),
    *_texts("machine", "chamber", "station", "label"),
    CheckConstraint("ends >= starts", name="ends_after_start"),
)


def _of_task(*columns: SchemaItem) -> list[SchemaItem]:
    return [
        _need("plan", Integer),
        _need("task", Integer),
        _need("position", Integer),
        PrimaryKeyConstraint("plan", "task", "position"),
        ForeignKeyConstraint(["plan", "task"], ["task.plan", "task.position"]),
        *columns,
    ]


task_line = _table("task_line", *_of_task(_need("line", Integer), _to_line()))
task_person = _table("task_person", *_of_task(_need("person", Text)))

promise = _table(
    "promise",
    *_in_plan("line"),
    _need("line", Integer),
    _maybe("ready", Instant),
    _need("due_by", Instant),
    _maybe("p50", Instant),
    _maybe("p90", Instant),
    _maybe("on_time_probability", Float),
    _need("reason", Text),
    _maybe("if_fails", Instant),
    _maybe("start_pieces", Integer),
    _to_line(),
)

cost = _table(
    "cost",
    *_in_plan("line"),
    _need("line", Integer),
    *_numbers("machine", "powder_in_parts", "refresh_burden", "hands", "finish", "risk"),
    _to_line(),
)

set_aside = _table("set_aside", *_in_plan(), _need("line", Integer), *_texts("reason", "remedy"))

piece_record = _table(
    "piece_record",
    Column("number", Integer, primary_key=True, autoincrement=True),
    _need("plan", Integer),
    *_texts("build", "piece", "state", "by"),
    _need("at", Instant),
    _need("note", Text),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    ForeignKeyConstraint(["plan", "piece"], ["placement.plan", "placement.piece"]),
    Index("ix_piece_record_plan_build", "plan", "build"),
    sqlite_autoincrement=True,
)

job = _table(
    "job",
    Column("number", Integer, primary_key=True, autoincrement=True),
    *_texts("kind", "state", "by", "folder"),
    _need("asked_at", Instant),
    _maybe("ended_at", Instant),
    *_texts("stage", "note", "found", "remedy"),
    _need("done", Integer),
    _need("total", Integer),
    _maybe("plan", Integer),
    ForeignKeyConstraint(["plan"], ["plan.version"]),
    sqlite_autoincrement=True,
)
