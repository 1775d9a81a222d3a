"""Tables of heat, job logs and probes. They are made by the migration `v0006_physics_records`."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    PrimaryKeyConstraint,
    Table,
    Text,
)
from sqlalchemy.schema import SchemaItem

from cakewright.store.schema import metadata
from cakewright.store.types import Instant


def _numbers(*names: str) -> list[Column[float]]:
    return [Column(name, Float, nullable=False) for name in names]


def _texts(*names: str) -> list[Column[str]]:
    return [Column(name, Text, nullable=False) for name in names]


def _of_build(*key: str) -> list[SchemaItem]:
    return [
        Column("plan", Integer, nullable=False),
        Column("build", Text, nullable=False),
        PrimaryKeyConstraint("plan", "build", *key),
        ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    ]


def _counted() -> list[SchemaItem]:
    return [
        Column("number", Integer, primary_key=True, autoincrement=True),
        Column("at", Instant, nullable=False),
        *_texts("by", "note"),
    ]


def _table(name: str, *items: SchemaItem, **more: Any) -> Table:
    ordered = sorted(items, key=lambda item: not isinstance(item, Column))
    return Table(name, metadata, *ordered, **more)


build_heat = _table(
    "build_heat",
    *_of_build(),
    *_numbers("section_y_mm", "cell_height_mm", "cell_width_mm", "base_powder_mm"),
    *_numbers("dose_mean_h", "may_leave_s", "heat_error", "speed"),
)

heat_array = _table(
    "heat_array",
    *_of_build("name"),
    *_texts("name", "dtype", "shape"),
    Column("data", LargeBinary, nullable=False),
)

piece_heat = _table(
    "piece_heat",
    *_of_build("position"),
    Column("position", Integer, nullable=False),
    *_texts("piece"),
    *_numbers("opening_early_s", "opening_likely_s", "opening_late_s"),
    *_numbers("at_print_end_c", "solid_s", "hours_soft", "front_c_mm"),
)

heat_finding = _table(
    "heat_finding",
    *_of_build("position"),
    Column("position", Integer, nullable=False),
    *_texts("code", "severity", "message", "place", "remedy"),
    *[Column(f"at_{axis}_mm", Float, nullable=True) for axis in "xyz"],
    Column("value", Float, nullable=True),
    Column("limit", Float, nullable=True),
    Column("unit", Text, nullable=False, server_default=""),
)

job_log = _table(
    "job_log",
    *_counted(),
    *_texts("machine", "log_name"),
    Column("plan", Integer, nullable=False),
    Column("build", Text, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    Column("starts", Instant, nullable=True),
    Column("ends", Instant, nullable=True),
    Column("total_s", Float, nullable=True),
    Column("layer_s", LargeBinary, nullable=True),
    *_numbers("extra_layers_mm"),
    sqlite_autoincrement=True,
)

time_fit = _table(
    "time_fit",
    *_counted(),
    *_texts("machine"),
    Column("builds", Integer, nullable=False),
    *_numbers(*[f"{term}{end}" for term in ("fixed", "recoat", "hatch", "outline") for end in ("", "_low", "_high")]),
    *_numbers("relative_sigma"),
    sqlite_autoincrement=True,
)

fit_gap = _table(
    "fit_gap",
    Column("fit", Integer, ForeignKey("time_fit.number"), nullable=False),
    Column("position", Integer, nullable=False),
    PrimaryKeyConstraint("fit", "position"),
    *_texts("build"),
    *_numbers("gap"),
)

probe_reading = _table(
    "probe_reading",
    *_counted(),
    Column("plan", Integer, nullable=False),
    Column("build", Text, nullable=False),
    ForeignKeyConstraint(["plan", "build"], ["build.plan", "build.key"]),
    *_numbers("x_mm", "y_mm", "z_mm", "after_s", "celsius"),
    sqlite_autoincrement=True,
)

chamber_speed = _table(
    "chamber_speed",
    *_counted(),
    *_texts("chamber_type", "basis"),
    Column("readings", Integer, nullable=False),
    *_numbers("value", "low", "high"),
    sqlite_autoincrement=True,
)
