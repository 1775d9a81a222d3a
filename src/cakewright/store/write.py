"""A plan as rows: every list in its order, nothing left out."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import fields
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, insert, select

from cakewright.errors import StoreError
from cakewright.findings import Finding
from cakewright.model.build import Build
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import Task, WeekPlan
from cakewright.store import schema
from cakewright.store.heat import heat_rows
from cakewright.store.plain import to_json
from cakewright.store.types import pack

Row = dict[str, Any]
Rows = defaultdict[str, list[Row]]

LAYER_ARRAYS = {"area_mm2": "f8", "contour_mm": "f8", "outlines": "i4", "layer_s": "f8"}


def write_plan(link: Connection, plan: WeekPlan, *, made_by: str, at: datetime) -> int:
    """Write a plan inside the open transaction of `link`; the new version number."""
    version = _write_head(link, plan, made_by=made_by, at=at)
    _write_meshes(link, [part.mesh for part in plan.parts.values()])
    rows = rows_of(plan)
    for table in schema.metadata.sorted_tables:
        if rows[table.name]:
            link.execute(insert(table), [{"plan": version, **_cleaned(row)} for row in rows[table.name]])
    return version


def rows_of(plan: WeekPlan) -> Rows:
    """All rows but the head and the meshes, by table, without the version number."""
    rows: Rows = defaultdict(list)
    rows["timing"] = [
        {"position": i, "name": name, "seconds": seconds} for i, (name, seconds) in enumerate(plan.timings.items())
    ]
    _add_parts(rows, plan.parts)
    _add_findings(rows, plan.findings, None)
    _add_findings(rows, plan.orders.findings, None, about_orders=True)
    _add_lines(rows, plan)
    for position, build in enumerate(plan.builds):
        _add_build(rows, position, build)
    for position, task in enumerate(plan.schedule.tasks):
        _add_task(rows, position, task)
    rows["promise"] = _listed(plan.promises)
    rows["cost"] = _listed(plan.costs)
    rows["set_aside"] = _listed(plan.set_aside)
    return rows


def flat(thing: Any, *leave: str) -> Row:
    """Field names and values of a dataclass, without those in `leave`."""
    return {f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in leave}


def _cleaned(row: Row) -> Row:
    """Numbers of numpy as those of Python: SQLite would keep an int64 as eight bytes without a word."""
    return {k: v.item() if isinstance(v, np.generic) else v for k, v in row.items()}


def _listed(things: Iterable[Any], *leave: str) -> list[Row]:
    return [{"position": i, **flat(thing, *leave)} for i, thing in enumerate(things)]


def _axes(prefix: str, values: Iterable[float] | None, unit: str = "mm") -> Row:
    x, y, z = (None, None, None) if values is None else (float(v) for v in values)
    return {f"{prefix}_x_{unit}": x, f"{prefix}_y_{unit}": y, f"{prefix}_z_{unit}": z}


def _write_head(link: Connection, plan: WeekPlan, *, made_by: str, at: datetime) -> int:
    text = to_json(plan.cell)
    digest = hashlib.sha256(text.encode()).hexdigest()
    if link.scalar(select(schema.cell.c.sha256).where(schema.cell.c.sha256 == digest)) is None:
        link.execute(insert(schema.cell), {"sha256": digest, "name": plan.cell.name, "description": text})
    head = {
        "made_at": at, "made_by": made_by, "starts": plan.start, "seed": plan.seed, "cell_sha256": digest,
        "order_source": plan.orders.source, "schedule_starts": plan.schedule.start,
        "schedule_method": plan.schedule.method, "schedule_validated": plan.schedule.validated,
        "schedule_notes": plan.schedule.notes,
    }  # fmt: skip
    version = link.scalar(insert(schema.plan).returning(schema.plan.c.version), head)
    assert version is not None
    return int(version)


def _write_meshes(link: Connection, meshes: Iterable[Mesh]) -> None:
    """Each geometry once, whichever plans and parts use it."""
    by_hash = {mesh.sha256: mesh for mesh in meshes}
    there = set(link.scalars(select(schema.mesh.c.sha256).where(schema.mesh.c.sha256.in_(by_hash))))
    for digest in by_hash.keys() - there:
        mesh = by_hash[digest]
        link.execute(
            insert(schema.mesh),
            {
                "sha256": digest,
                "vertex_count": len(mesh.vertices),
                "face_count": len(mesh.faces),
                "vertices": pack(mesh.vertices),
                "faces": pack(mesh.faces),
            },
        )


def _add_parts(rows: Rows, parts: Mapping[str, Part]) -> None:
    for position, (key, part) in enumerate(parts.items()):
        if key != part.key:
            raise StoreError(f"part {part.key!r} is filed under {key!r}", remedy="file parts under their own key")
        rows["part"].append(
            {
                "position": position,
                "mesh_sha256": part.mesh.sha256,
                **flat(part, "mesh", "measures", "origin", "orientation", "findings"),
                **flat(part.measures, "size_mm"),
                **_axes("size", part.measures.size_mm),
                **{("file_sha256" if k == "sha256" else k): v for k, v in flat(part.origin).items()},
                "freedom": part.orientation.freedom.value,
                "freedom_reason": part.orientation.reason,
                "cone_deg": part.orientation.cone_deg,
                **dict(zip(("up_x", "up_y", "up_z"), part.orientation.up, strict=True)),
            }
        )
        _add_findings(rows, part.findings, key)


def _add_findings(rows: Rows, findings: Iterable[Finding], part_key: str | None, *, about_orders: bool = False) -> None:
    for position, finding in enumerate(findings):
        row = flat(finding, "where", "at_mm")
        row |= {"place": finding.where, "position": position, "part_key": part_key, "about_orders": about_orders}
        row["number"] = len(rows["finding"])
        rows["finding"].append(row | _axes("at", finding.at_mm))


def _add_lines(rows: Rows, plan: WeekPlan) -> None:
    numbers = {line.line for line in plan.orders.lines}
    strange = sorted(set(plan.part_of_line) - numbers)
    if strange:
        raise StoreError(f"a part is given for line {strange[0]}, which is not in the order list")
    for position, line in enumerate(plan.orders.lines):
        part_key = plan.part_of_line.get(line.line)
        rows["order_line"].append({"position": position, **_line_row(line), "part_key": part_key})


def _line_row(line: OrderLine) -> Row:
    row = flat(line, "order", "where", "nominal_size_mm")
    return row | {"order_number": line.order, "place": line.where, **_axes("nominal", line.nominal_size_mm)}


def _add_build(rows: Rows, position: int, build: Build) -> None:
    nest, profile, hours, cooling = build.nest, build.profile, build.print_time, build.cooling
    rows["build"].append(
        {
            "position": position,
            "base_x_mm": nest.base_mm[0],
            "base_y_mm": nest.base_mm[1],
            "nest_seed": nest.seed,
            "nest_seconds": nest.seconds,
            "nest_notes": nest.notes,
            **flat(nest, "placements", "left_out", "base_mm", "seed", "seconds", "notes"),
            "layers": profile.layers,
            "layer_mm": profile.layer_mm,
            **flat(hours, "layer_s"),
            "cooling_target_c": cooling.target_c,
            "cooling_method": cooling.method,
            **dict(zip(("opening_early_s", "opening_likely_s", "opening_late_s"), cooling.opening_s, strict=True)),
            **_axes("hottest", cooling.hottest_mm),
            **flat(build, "lines", "nest", "verification", "removal", "profile", "print_time", "cooling", "powder",
                   "line_reasons", "heat"),
        }
    )  # fmt: skip
    _add_nest(rows, build)
    _add_checks(rows, build)
    _add_arrays(rows, build)
    rows["powder_need"].append({"build": build.key, **flat(build.powder)})
    for table, found in heat_rows(build).items():
        rows[table] += found


def _add(rows: Rows, table: str, build: Build, items: Iterable[Row]) -> None:
    rows[table] += [{"build": build.key, "position": i, **item} for i, item in enumerate(items)]


def _add_nest(rows: Rows, build: Build) -> None:
    _add(rows, "build_line", build, ({"line": line} for line in build.lines))
    _add(rows, "line_reason", build, ({"line": line, "reason": why} for line, why in build.line_reasons))
    _add(rows, "left_out", build, (flat(piece) for piece in build.nest.left_out))
    placed = (
        {
            **{f"r{i}{j}": float(p.rotation[i, j]) for i in range(3) for j in range(3)},
            **dict(zip(("x_mm", "y_mm", "z_mm"), map(float, p.translation), strict=True)),
            **flat(p, "rotation", "translation"),
        }
        for p in build.nest.placements
    )
    _add(rows, "placement", build, placed)


def _add_checks(rows: Rows, build: Build) -> None:
    check, way_out = build.verification, build.removal
    tight = check.tightest
    rows["verification"].append(
        {
            "build": build.key,
            **flat(check, "tightest", "violations", "outside"),
            "tightest_first": tight.first if tight else None,
            "tightest_second": tight.second if tight else None,
            "tightest_gap_mm": tight.gap_mm if tight else None,
        }
    )
    _add(rows, "too_near", build, (flat(pair) for pair in check.violations))
    _add(rows, "outside", build, ({"piece": piece, "by_mm": by} for piece, by in check.outside))
    _add(rows, "removal_step", build, ({"piece": piece} for piece in way_out.order))
    stuck = ({"group_number": g, "piece": piece} for g, group in enumerate(way_out.stuck) for piece in group)
    _add(rows, "stuck_piece", build, stuck)
    _add(rows, "hook", build, ({"piece": piece, "waits_for": others} for piece, others in way_out.hooked))


def _add_arrays(rows: Rows, build: Build) -> None:
    for name, dtype in LAYER_ARRAYS.items():
        array = np.asarray(getattr(build.print_time if name == "layer_s" else build.profile, name), dtype=dtype)
        rows["layer_array"].append(
            {"build": build.key, "name": name, "dtype": dtype, "length": len(array), "data": pack(array)}
        )
    cooling = build.cooling
    curve = zip(cooling.curve_s, cooling.core_c, cooling.skin_c, cooling.mean_c, strict=True)
    names = ("after_s", "core_c", "skin_c", "mean_c")
    _add(rows, "cooling_point", build, (dict(zip(names, map(float, point), strict=True)) for point in curve))


def _add_task(rows: Rows, position: int, task: Task) -> None:
    row = flat(task, "lines", "people", "start", "end")
    rows["task"].append({"position": position, **row, "starts": task.start, "ends": task.end})
    rows["task_line"] += [{"task": position, "position": i, "line": line} for i, line in enumerate(task.lines)]
    rows["task_person"] += [{"task": position, "position": i, "person": who} for i, who in enumerate(task.people)]
