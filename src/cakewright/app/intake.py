"""Take in the parts of an order list: find, read, decide units, measure, check, set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cakewright.app.find_files import file_of_line, mesh_files
from cakewright.app.finish_effect import limits_before_finish
from cakewright.app.look_alikes import look_alike_findings
from cakewright.app.mark_parts import marked
from cakewright.app.part_records import NOTHING_KNOWN, PartRecords, revision_findings, rule_of
from cakewright.app.progress import Progress, quiet
from cakewright.errors import CakewrightError, InputError, MeshFileError
from cakewright.findings import Finding, Severity
from cakewright.formats.mesh_file import MeshFile, read_mesh, recover_mesh
from cakewright.model.cell import Cell
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import FileOrigin, Freedom, OrientationRule, Part
from cakewright.model.plan import SetAside
from cakewright.parts.check import check_part
from cakewright.parts.measure import measure
from cakewright.parts.repair import repair
from cakewright.parts.topology import topology_of
from cakewright.parts.units import decide_unit

UPRIGHT_FLAGS = ("keep upright", "about z")
FIXED_FLAGS = ("fixed orientation",)
DELICATE_FLAGS = ("delicate", "slender", "fragile")


@dataclass(frozen=True, slots=True)
class Intake:
    """What came in: parts by key, the part of each line, and the lines that have to wait."""

    parts: Mapping[str, Part]
    part_of_line: Mapping[int, str]
    set_aside: tuple[SetAside, ...]
    findings: tuple[Finding, ...]


def take_in(
    orders: OrderList,
    cell: Cell,
    folder: str | Path,
    progress: Progress = quiet,
    records: PartRecords = NOTHING_KNOWN,
) -> Intake:
    """Read and judge the mesh of every line, against what `records` know of part revisions.

    A line whose file is missing, unreadable or cannot be made in this cell is set aside with a reason
    and a remedy; all others go on. Raises InputError when the folder is missing or nothing is left.
    """
    folder = Path(folder)
    files = mesh_files(folder)
    parts: dict[str, Part] = {}
    part_of_line: dict[int, str] = {}
    set_aside: list[SetAside] = []
    findings: list[Finding] = []
    for done, line in enumerate(orders.lines):
        progress("reading parts", done, len(orders.lines), line.title)
        try:
            part = _known_part(line, cell, file_of_line(line, files, folder), records)
        except CakewrightError as wrong:
            found = f"{wrong.where}: {wrong.found}" if wrong.where else wrong.found
            set_aside.append(SetAside(line.line, found, wrong.remedy))
            continue
        findings += part.findings
        if part.is_blocked:
            blocking = next(f for f in part.findings if f.severity is Severity.BLOCKING)
            set_aside.append(SetAside(line.line, f"{part.origin.file}: {blocking.message}", blocking.remedy))
            continue
        parts[part.key] = part
        part_of_line[line.line] = part.key
    progress("reading parts", len(orders.lines), len(orders.lines))
    if not parts:
        reasons = "".join(f"\n  line {s.line}: {s.reason} -> {s.remedy}" for s in set_aside)
        raise InputError(f"no line of {orders.source} can be planned:{reasons}")
    line_of_key = {part_of_line[line.line]: line for line in orders.lines if line.line in part_of_line}
    findings += look_alike_findings(parts, line_of_key)
    return Intake(parts, part_of_line, tuple(set_aside), (*orders.findings, *findings))


def _known_part(line: OrderLine, cell: Cell, file: Path, records: PartRecords) -> Part:
    """The part of a line, with what is known about its name and shape, and its mark."""
    part = read_part(line, cell, file, records)
    said = revision_findings(part, records, f"line {line.line} ({line.title}), {file.name}")
    return marked(replace(part, findings=(*part.findings, *said)), line)


def read_part(line: OrderLine, cell: Cell, file: Path, records: PartRecords = NOTHING_KNOWN) -> Part:
    """One part from one file, with everything that was noticed on the way.

    The strict reader goes first; what it refuses goes to the repairing reader, whose liberties are
    findings of the part. The flags of the line say how it may be turned, else the rule of its revision in `records`.
    """
    machines = cell.machines_for(line.material)
    if not machines:
        raise InputError(f"no machine of the cell prints {line.material}", remedy="add one, or choose another material")
    mesh_file, findings = _read(file)
    chamber = max((cell.chamber_type(m.chamber_type) for m in machines), key=lambda c: c.x_mm * c.y_mm * c.z_mm)
    largest = max(chamber.x_mm, chamber.y_mm, chamber.z_mm)
    x, y, z = (float(v) for v in mesh_file.mesh.size_mm)
    decision = decide_unit((x, y, z), mesh_file.unit, line.nominal_size_mm, largest)
    mesh = mesh_file.mesh if decision.unit.mm == 1.0 else mesh_file.mesh.scaled(decision.unit.mm)
    mesh, mended = _sound(mesh, file.name)
    measures = measure(mesh)
    rule = rule_of(line, records, orientation_rule(line))
    checked = check_part(
        mesh,
        measures,
        where=file.name,
        material=limits_before_finish(cell.material(line.material), cell.finish(line.finish)),
        chamber_type=chamber,
        rule=rule,
        nominal_size_mm=line.nominal_size_mm,
        nominal_volume_cm3=line.nominal_volume_cm3,
    )
    where = f"line {line.line} ({line.title}), {file.name}"
    return Part(
        key=line.key,
        name=line.part,
        revision=line.revision,
        mesh=mesh,
        measures=measures,
        origin=FileOrigin(
            file.name, mesh_file.sha256, mesh_file.format, decision.unit, decision.reason, decision.confidence
        ),
        orientation=rule,
        is_delicate=any(flag in text for text in line.flags for flag in DELICATE_FLAGS),
        findings=tuple(replace(f, where=where) for f in (*findings, *decision.findings, *mended, *checked)),
    )


def _sound(mesh: Mesh, where: str) -> tuple[Mesh, tuple[Finding, ...]]:
    """The mesh when it encloses a volume; otherwise its repair, with every step as a finding, if that does.

    Raises MeshFileError when no careful repair closes the surface.
    """
    if _encloses(mesh):
        return mesh, ()
    done = repair(mesh, where=where)
    if done.is_sound and _encloses(done.mesh):
        return done.mesh, done.findings
    refused = next((f.message for f in done.findings if f.severity is Severity.BLOCKING), "it is inside out")
    raise MeshFileError(
        f"the surface does not enclose a volume and careful repair stops: {refused}",
        remedy="close the surface in the design program and export it again",
        where=where,
    )


def _encloses(mesh: Mesh) -> bool:
    return topology_of(mesh).bounds_a_volume and measure(mesh).volume_mm3 > 0


def orientation_rule(line: OrderLine) -> OrientationRule:
    """What the flags of a line allow: 'keep upright' turns about Z only, 'fixed orientation' not at all."""
    text = " ".join(line.flags).casefold()
    if any(flag in text for flag in FIXED_FLAGS):
        return OrientationRule(Freedom.FIXED, "the order line says 'fixed orientation'")
    if any(flag in text for flag in UPRIGHT_FLAGS):
        return OrientationRule(Freedom.ABOUT_Z, "the order line says 'keep upright'")
    return OrientationRule()


def _read(file: Path) -> tuple[MeshFile, tuple[Finding, ...]]:
    try:
        mesh_file, findings = read_mesh(file)
    except MeshFileError as refused:
        mesh_file, findings = recover_mesh(file)
        first = Finding(
            "mesh.repaired",
            Severity.WARNING,
            f"the file breaks its format ({refused.found}) and was read with repairs",
            file.name,
            "ask for a clean export",
        )
        findings = (first, *findings)
    if not np.all(mesh_file.mesh.size_mm > 0):
        raise MeshFileError("the mesh is flat: one of its sides is 0", remedy="export a solid body", where=file.name)
    return mesh_file, findings
