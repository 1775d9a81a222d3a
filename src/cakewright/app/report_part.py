"""A report on a file that a customer engineer understands: HTML and PDF."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from cakewright.app.check_part import Judged
from cakewright.documents.part_faces import shown_faces
from cakewright.documents.part_report import Limit, PartSheet, Turn, part_report_html
from cakewright.documents.part_report_pdf import part_report_pdf
from cakewright.errors import InputError
from cakewright.model.cell import Cell
from cakewright.model.part import Part
from cakewright.parts.faces import Place, on_faces
from cakewright.parts.limits import limits_of
from cakewright.parts.measure import triangle_normals
from cakewright.parts.ranking import Scored, rank_orientations
from cakewright.sources.printability import LIMIT_MEANINGS

TURNS_TRIED = 200
SEEN = 0.7  # cosine: within 45 degrees
Direction = tuple[float, float, float]
SIDES: dict[str, Direction] = {  # as people say them, in part coordinates
    "+X": (1.0, 0.0, 0.0),
    "-X": (-1.0, 0.0, 0.0),
    "+Y": (0.0, 1.0, 0.0),
    "-Y": (0.0, -1.0, 0.0),
    "+Z": (0.0, 0.0, 1.0),
    "-Z": (0.0, 0.0, -1.0),
}


@dataclass(frozen=True, slots=True)
class Looks:
    """What weighs when ways up are compared, all in part coordinates; nothing: every face alike, no load.

    `visible` is the side that must look good: faces within 45 degrees of that direction count for the steps, others
    not. `faces` are places (mm) on faces that must look good: with them only those count. `load` is the direction of
    the main load. `evened_mm` of the steps are evened out by the finish.
    """

    visible: Direction | None = None
    load: Direction | None = None
    faces: tuple[Place, ...] = ()
    evened_mm: float = 0.0


ALL_ALIKE = Looks()


def part_sheet(
    judged: Judged, cell: Cell, material: str, looks: Looks = ALL_ALIKE, *, made: datetime | None = None
) -> PartSheet:
    """Everything the report says about a file that was judged against a material of the cell."""
    when = "" if made is None else made.astimezone(cell.zone).strftime("%Y-%m-%d %H:%M")
    if judged.part is not None:
        sheet = sheet_of(judged.part, cell, material, looks)
        return replace(sheet, made=when)
    return PartSheet(
        file=judged.file.name,
        sha256=_hash(judged.file),
        material=material,
        unit="not decided",
        mesh=judged.mesh,
        is_closed=False,
        findings=judged.findings,
        triangles=0 if judged.mesh is None else len(judged.mesh.faces),
        refused=judged.refused,
        remedy=judged.remedy,
        made=when,
    )


def sheet_of(part: Part, cell: Cell, material: str, looks: Looks = ALL_ALIKE) -> PartSheet:
    """The report on a part."""
    powder = cell.material(material)
    limits = limits_of(powder)
    rows = tuple(
        Limit(meaning, limits[name], unit, limits.status(name)) for name, (unit, meaning) in LIMIT_MEANINGS.items()
    )
    x, y, z = part.measures.size_mm
    sure = f", sure to {part.origin.unit_confidence:.0%}" if part.origin.unit_confidence < 1 else ""
    return PartSheet(
        file=part.origin.file,
        sha256=part.origin.sha256,
        material=f"{material} (limits of {limits.family}; {limits.unverified} of {len(rows)} unverified)",
        unit=f"{part.origin.unit.value}: {part.origin.unit_reason}{sure}",
        mesh=part.mesh,
        is_closed=part.measures.is_watertight and part.measures.is_oriented,
        findings=part.findings,
        size_mm=(x, y, z),
        volume_cm3=part.measures.volume_cm3,
        mass_g=part.measures.volume_cm3 * powder.sintered_density_g_cm3,
        triangles=part.measures.triangles,
        turns=tuple(Turn(s.rotation, s.reason) for s in best_turns(part, cell, material, looks)),
        faces=shown_faces(part.mesh, looks.faces),
        limits=rows,
    )


def best_turns(part: Part, cell: Cell, material: str, looks: Looks = ALL_ALIKE) -> tuple[Scored, ...]:
    """The three best ways up within the part's rule, with reasons."""
    machines = cell.machines_for(material)
    layer = machines[0].layer_mm if machines else cell.machines[0].layer_mm
    marked = None
    if looks.visible is not None:
        way = np.asarray(looks.visible, dtype=np.float64)
        marked = (triangle_normals(part.mesh) @ (way / np.linalg.norm(way)) > SEEN).astype(np.float64)
        if not marked.any():
            raise InputError(f"no face looks towards {looks.visible}", remedy="choose another side", where="visible")
    if looks.faces:
        on = on_faces(part.mesh, looks.faces).astype(np.float64)
        marked = on if marked is None else np.maximum(marked, on)
    return rank_orientations(
        part.mesh, part.orientation, layer_mm=layer, seed=1, tried=TURNS_TRIED, marked=marked,
        load=None if looks.load is None else np.asarray(looks.load, dtype=np.float64), evened_mm=looks.evened_mm,
    )  # fmt: skip


def write_report(sheet: PartSheet, folder: Path) -> tuple[Path, Path]:
    """Write `<file>-check.html` and `.pdf` into a folder; the two paths."""
    stem = Path(sheet.file).stem
    html, pdf = folder / f"{stem}-check.html", folder / f"{stem}-check.pdf"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        html.write_text(part_report_html(sheet), encoding="utf-8")
        pdf.write_bytes(part_report_pdf(sheet))
    except OSError as wrong:
        remedy = "choose another --report folder"
        raise InputError(f"{folder} cannot be written: {wrong.strerror}", remedy=remedy) from wrong
    return html, pdf


def _hash(file: Path) -> str:
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError:
        return ""


def side_of(word: str, where: str) -> Direction | None:
    """The direction of a side such as '+X'; None for an empty word. InputError for any other."""
    if not word:
        return None
    found = SIDES.get(word.strip().upper())
    if found is None:
        raise InputError(f"unknown side {word!r}", remedy=f"use one of: {', '.join(SIDES)}", where=where)
    return found
