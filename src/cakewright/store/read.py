"""Rows as a plan again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar, cast

import numpy as np
from sqlalchemy import Connection, Table, select

from cakewright.errors import StoreError
from cakewright.findings import Finding, Severity
from cakewright.model.build import (
    Build,
    Cooling,
    LayerProfile,
    LeftOut,
    Nest,
    PairGap,
    Placement,
    PowderNeed,
    PrintTime,
    Removal,
    Verification,
)
from cakewright.model.cell import Cell
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import FileOrigin, Freedom, Measures, OrientationRule, Part
from cakewright.model.plan import LineCost, LinePromise, Schedule, SetAside, Task, TaskKind, WeekPlan
from cakewright.store import heat, schema
from cakewright.store.plain import from_json
from cakewright.store.types import unpack
from cakewright.units import LengthUnit

T = TypeVar("T")
Row = dict[str, Any]
Rows = list[Row]
ByBuild = dict[str, dict[str, Rows]]

ORDERS = "\0orders"  # no part can be called that: where findings about the order list are gathered
OF_BUILD = (
    schema.build_line, schema.line_reason, schema.placement, schema.left_out, schema.verification, schema.too_near,
    schema.outside, schema.removal_step, schema.stuck_piece, schema.hook, schema.layer_array, schema.cooling_point,
    schema.powder_need, *heat.OF_BUILD,
)  # fmt: skip


def read_plan(link: Connection, version: int) -> WeekPlan:
    """The whole plan of one version; StoreError when there is none or its numbers are damaged."""
    found = link.execute(select(schema.plan).where(schema.plan.c.version == version)).mappings().one_or_none()
    if found is None:
        raise StoreError(f"there is no plan version {version}", remedy="choose one of the stored versions")
    head = dict(found)
    findings = _findings(_all(link, schema.finding, version))
    lines = _all(link, schema.order_line, version)
    return WeekPlan(
        cell=_cell(link, head["cell_sha256"]),
        orders=OrderList(head["order_source"], tuple(_line(row) for row in lines), findings[ORDERS]),
        start=head["starts"],
        parts=_parts(link, version, findings),
        part_of_line={row["line"]: row["part_key"] for row in lines if row["part_key"] is not None},
        builds=_builds(link, version),
        schedule=_schedule(link, head),
        promises=tuple(_made(LinePromise, row) for row in _all(link, schema.promise, version)),
        costs=tuple(_made(LineCost, row) for row in _all(link, schema.cost, version)),
        set_aside=tuple(_made(SetAside, row) for row in _all(link, schema.set_aside, version)),
        findings=findings[None],
        seed=head["seed"],
        version=version,
        made_by=head["made_by"],
        timings={row["name"]: row["seconds"] for row in _all(link, schema.timing, version)},
    )


def read_mesh(link: Connection, sha256: str) -> Mesh:
    """A geometry by its hash; StoreError when it is missing or no longer what it was."""
    row = link.execute(select(schema.mesh).where(schema.mesh.c.sha256 == sha256)).mappings().one_or_none()
    if row is None:
        raise StoreError(f"there is no mesh {sha256[:12]}", remedy="restore a backup")
    where = f"mesh {sha256[:12]}"
    vertices = unpack(row["vertices"], "f8", where=where).astype(np.float64)
    faces = unpack(row["faces"], "i4", where=where).astype(np.int32)
    if len(vertices) != 3 * row["vertex_count"] or len(faces) != 3 * row["face_count"]:
        raise StoreError("a stored mesh has lost numbers", remedy="restore a backup", where=where)
    mesh = Mesh(vertices.reshape(-1, 3), faces.reshape(-1, 3))
    if mesh.sha256 != sha256:
        raise StoreError("a stored mesh is not what it was", remedy="restore a backup", where=where)
    return mesh


def _all(link: Connection, table: Table, version: int) -> Rows:
    order = [table.c.number] if "number" in table.c else [table.c.position] if "position" in table.c else []
    query = select(table).where(table.c.plan == version).order_by(*order)
    return [dict(row) for row in link.execute(query).mappings()]


def _made(kind: type[T], row: Mapping[str, Any], /, **more: Any) -> T:
    """A dataclass from the columns that carry its field names, and from `more`."""
    given = {f.name: row[f.name] for f in fields(cast(Any, kind)) if f.name not in more and f.name in row}
    return kind(**given, **more)


def _axes(row: Row, prefix: str) -> tuple[float, float, float] | None:
    x, y, z = (row[f"{prefix}_{axis}_mm"] for axis in "xyz")
    return None if x is None else (x, y, z)


def _cell(link: Connection, digest: str) -> Cell:
    text = link.scalar(select(schema.cell.c.description).where(schema.cell.c.sha256 == digest))
    return from_json(Cell, str(text))


def _findings(rows: Rows) -> defaultdict[str | None, tuple[Finding, ...]]:
    found: defaultdict[str | None, tuple[Finding, ...]] = defaultdict(tuple)
    for row in rows:
        one = _made(Finding, row, severity=Severity(row["severity"]), where=row["place"], at_mm=_axes(row, "at"))
        found[ORDERS if row["about_orders"] else row["part_key"]] += (one,)
    return found


def _line(row: Row) -> OrderLine:
    size = _axes(row, "nominal")
    return _made(OrderLine, row, order=row["order_number"], where=row["place"], nominal_size_mm=size)


def _parts(link: Connection, version: int, findings: Mapping[str | None, tuple[Finding, ...]]) -> dict[str, Part]:
    meshes: dict[str, Mesh] = {}
    parts: dict[str, Part] = {}
    for row in _all(link, schema.part, version):
        digest = row["mesh_sha256"]
        if digest not in meshes:
            meshes[digest] = read_mesh(link, digest)
        parts[row["key"]] = _made(
            Part,
            row,
            mesh=meshes[digest],
            measures=_made(Measures, row, size_mm=_axes(row, "size")),
            origin=_made(FileOrigin, row, sha256=row["file_sha256"], unit=LengthUnit(row["unit"])),
            orientation=_rule(row),
            findings=findings[row["key"]],
        )
    return parts


def _rule(row: Row) -> OrientationRule:
    up = (row["up_x"], row["up_y"], row["up_z"])
    return OrientationRule(Freedom(row["freedom"]), row["freedom_reason"], row["cone_deg"], up)


def _builds(link: Connection, version: int) -> tuple[Build, ...]:
    rows: ByBuild = defaultdict(lambda: defaultdict(list))
    for table in OF_BUILD:
        for row in _all(link, table, version):
            rows[row["build"]][table.name].append(row)
    return tuple(_build(row, rows[row["key"]]) for row in _all(link, schema.build, version))


def _build(row: Row, of: dict[str, Rows]) -> Build:
    arrays = {a["name"]: unpack(a["data"], a["dtype"], where=f"build {row['key']}") for a in of["layer_array"]}
    return _made(
        Build,
        row,
        lines=tuple(r["line"] for r in of["build_line"]),
        line_reasons=tuple((r["line"], r["reason"]) for r in of["line_reason"]),
        nest=_nest(row, of),
        verification=_verification(of),
        removal=_removal(of),
        profile=_made(LayerProfile, row, **{k: arrays[k] for k in ("area_mm2", "contour_mm", "outlines")}),
        print_time=_made(PrintTime, row, layer_s=arrays["layer_s"]),
        cooling=_cooling(row, of["cooling_point"]),
        powder=_made(PowderNeed, of["powder_need"][0]),
        heat=heat.heat_of(of, f"build {row['key']}"),
    )


def _nest(row: Row, of: dict[str, Rows]) -> Nest:
    return _made(
        Nest,
        row,
        placements=tuple(_placement(p) for p in of["placement"]),
        left_out=tuple(_made(LeftOut, p) for p in of["left_out"]),
        base_mm=(row["base_x_mm"], row["base_y_mm"]),
        seed=row["nest_seed"],
        seconds=row["nest_seconds"],
        notes=row["nest_notes"],
    )


def _placement(row: Row) -> Placement:
    rotation = np.array([[row[f"r{i}{j}"] for j in range(3)] for i in range(3)])
    return _made(Placement, row, rotation=rotation, translation=np.array([row["x_mm"], row["y_mm"], row["z_mm"]]))


def _verification(of: dict[str, Rows]) -> Verification:
    row = of["verification"][0]
    near = row["tightest_first"]
    tightest = None if near is None else PairGap(near, row["tightest_second"], row["tightest_gap_mm"])
    return _made(
        Verification,
        row,
        tightest=tightest,
        violations=tuple(_made(PairGap, r) for r in of["too_near"]),
        outside=tuple((r["piece"], r["by_mm"]) for r in of["outside"]),
    )


def _removal(of: dict[str, Rows]) -> Removal:
    groups: defaultdict[int, tuple[str, ...]] = defaultdict(tuple)
    for row in of["stuck_piece"]:
        groups[row["group_number"]] += (row["piece"],)
    return Removal(
        order=tuple(r["piece"] for r in of["removal_step"]),
        stuck=tuple(groups[g] for g in sorted(groups)),
        hooked=tuple((r["piece"], r["waits_for"]) for r in of["hook"]),
    )


def _cooling(row: Row, points: Rows) -> Cooling:
    curve = {name: np.array([p[name] for p in points], dtype=np.float64) for name in ("core_c", "skin_c", "mean_c")}
    return Cooling(
        target_c=row["cooling_target_c"],
        opening_s=(row["opening_early_s"], row["opening_likely_s"], row["opening_late_s"]),
        curve_s=np.array([p["after_s"] for p in points], dtype=np.float64),
        hottest_mm=cast(tuple[float, float, float], _axes(row, "hottest")),
        method=row["cooling_method"],
        **curve,
    )


def _schedule(link: Connection, head: Row) -> Schedule:
    version = head["version"]
    lines: defaultdict[int, tuple[int, ...]] = defaultdict(tuple)
    people: defaultdict[int, tuple[str, ...]] = defaultdict(tuple)
    for row in _all(link, schema.task_line, version):
        lines[row["task"]] += (row["line"],)
    for row in _all(link, schema.task_person, version):
        people[row["task"]] += (row["person"],)
    tasks = (
        _made(
            Task,
            row,
            kind=TaskKind(row["kind"]),
            start=row["starts"],
            end=row["ends"],
            lines=lines[row["position"]],
            people=people[row["position"]],
        )
        for row in _all(link, schema.task, version)
    )
    return Schedule(
        start=head["schedule_starts"],
        tasks=tuple(tasks),
        method=head["schedule_method"],
        validated=head["schedule_validated"],
        notes=head["schedule_notes"],
    )
