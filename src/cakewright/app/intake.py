"""Take in the parts of an order list: find, read, decide units, measure, check, set aside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from cakewright.app.crew import Crew
from cakewright.app.find_files import file_of_line, mesh_files
from cakewright.app.finish_effect import limits_before_finish
from cakewright.app.judge_parts import Question, answer, answers
from cakewright.app.look_alikes import look_alike_findings
from cakewright.app.mark_parts import marked
from cakewright.app.part_records import NOTHING_KNOWN, PartRecords, revision_findings, rule_of
from cakewright.app.progress import Progress, quiet
from cakewright.app.shared_meshes import SharedMeshes
from cakewright.errors import CakewrightError, InputError, MeshFileError
from cakewright.findings import Finding, Severity
from cakewright.formats.mesh_file import MeshFile, read_mesh, recover_mesh
from cakewright.model.cell import Cell
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine, OrderList
from cakewright.model.part import FileOrigin, Freedom, OrientationRule, Part
from cakewright.model.plan import SetAside
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
    *,
    workers: int = 1,
    crew: Crew | None = None,
) -> Intake:
    """Read and judge the mesh of every line, against what `records` know of part revisions.

    Files are read here; `workers` are judged at a time, or a `crew` judges them.

    A line whose file is missing, unreadable or cannot be made in this cell is set aside with a reason
    and a remedy; all others go on. Raises InputError when the folder is missing or nothing is left.
    """
    folder = Path(folder)
    files = mesh_files(folder)
    opened: list[tuple[OrderLine, Opened]] = []
    set_aside: dict[int, SetAside] = {}
    for done, line in enumerate(orders.lines):
        progress("reading parts", done, len(orders.lines), line.title)
        try:
            opened.append((line, open_part(line, cell, file_of_line(line, files, folder), records)))
        except CakewrightError as wrong:
            found = f"{wrong.where}: {wrong.found}" if wrong.where else wrong.found
            set_aside[line.line] = SetAside(line.line, found, wrong.remedy)
    progress("reading parts", len(orders.lines), len(orders.lines))
    said = answers([one.question for _, one in opened], progress, workers, crew)
    parts: dict[str, Part] = {}
    part_of_line: dict[int, str] = {}
    findings: list[Finding] = []
    for (line, one), checked in zip(opened, said, strict=True):
        part = _known_part(line, one.judged(checked), records)
        findings += part.findings
        if part.is_blocked:
            blocking = next(f for f in part.findings if f.severity is Severity.BLOCKING)
            reason = f"{part.origin.file}: {blocking.message}"
            set_aside[line.line] = SetAside(line.line, reason, blocking.remedy)
            continue
        parts[part.key] = part
        part_of_line[line.line] = part.key
    waiting = tuple(set_aside[line.line] for line in orders.lines if line.line in set_aside)
    if not parts:
        reasons = "".join(f"\n  line {s.line}: {s.reason} -> {s.remedy}" for s in waiting)
        raise InputError(f"no line of {orders.source} can be planned:{reasons}")
    line_of_key = {part_of_line[line.line]: line for line in orders.lines if line.line in part_of_line}
    findings += look_alike_findings(parts, line_of_key)
    parts = SharedMeshes().parts(parts)
    return Intake(parts, part_of_line, waiting, (*orders.findings, *findings))


def _known_part(line: OrderLine, part: Part, records: PartRecords) -> Part:
    """The part of a line, with what is known about its name and shape, and its mark."""
    said = revision_findings(part, records, f"line {line.line} ({line.title}), {part.origin.file}")
    return marked(replace(part, findings=(*part.findings, *said)), line)


@dataclass(frozen=True, slots=True)
class Opened:
    """A part that was read, with what was noticed on the way, and the question whether it can be made well."""

    part: Part
    question: Question
    where: str

    def judged(self, checked: Sequence[Finding]) -> Part:
        """The part with the answer, every finding at its line and file."""
        said = (replace(f, where=self.where) for f in (*self.part.findings, *checked))
        return replace(self.part, findings=tuple(said))


def read_part(line: OrderLine, cell: Cell, file: Path, records: PartRecords = NOTHING_KNOWN) -> Part:
    """One part from one file, with everything that was noticed on the way and what there is to say about it."""
    opened = open_part(line, cell, file, records)
    return opened.judged(answer(opened.question))


def open_part(line: OrderLine, cell: Cell, file: Path, records: PartRecords = NOTHING_KNOWN) -> Opened:
    """One part from one file, not yet judged.

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
    rule = rule_of(line, records, orientation_rule(line))
    material = limits_before_finish(cell.material(line.material), cell.finish(line.finish))
    question = Question(mesh, measure(mesh), material, chamber, rule, line.nominal_size_mm, line.nominal_volume_cm3)
    part = Part(
        key=line.key,
        name=line.part,
        revision=line.revision,
        mesh=mesh,
        measures=question.measures,
        origin=FileOrigin(
            file.name, mesh_file.sha256, mesh_file.format, decision.unit, decision.reason, decision.confidence
        ),
        orientation=rule,
        is_delicate=any(flag in text for text in line.flags for flag in DELICATE_FLAGS),
        findings=(*findings, *decision.findings, *mended),
    )
    return Opened(part, question, f"line {line.line} ({line.title}), {file.name}")


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
