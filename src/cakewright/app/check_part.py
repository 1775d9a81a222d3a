"""Look at mesh files before anybody promises anything."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from cakewright.app.intake import read_part
from cakewright.errors import CakewrightError
from cakewright.findings import Finding, Severity
from cakewright.formats.mesh_file import recover_mesh
from cakewright.model.cell import Cell
from cakewright.model.mesh import Mesh
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.parts.repair import repair

NO_DAY = date(2000, 1, 1)  # long past: a file without an order holds nothing back


@dataclass(frozen=True, slots=True)
class Judged:
    """One file: a part with its findings, or the reason why it cannot be used.

    A file that is refused but holds triangles still has its `mesh`, in the file's numbers, and the `findings` that
    tell where repair stopped.
    """

    file: Path
    part: Part | None
    refused: str = ""
    remedy: str = ""
    mesh: Mesh | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def can_be_planned(self) -> bool:
        """True when nothing blocks the part."""
        return self.part is not None and not self.part.is_blocked


def judge(file: Path, cell: Cell, material: str) -> Judged:
    """Read and check one file; a file that cannot be used is a result, not an error."""
    try:
        return Judged(file, read_part(loose_line(file, cell, material), cell, file))
    except CakewrightError as wrong:
        mesh, findings = _what_there_is(file)
        return Judged(file, None, wrong.found, wrong.remedy, mesh, findings)


def _what_there_is(file: Path) -> tuple[Mesh | None, tuple[Finding, ...]]:
    """The triangles of a refused file and where its repair stopped, to be shown."""
    try:
        found, said = recover_mesh(file)
        done = repair(found.mesh, where=file.name)
    except CakewrightError:
        return None, ()
    return found.mesh, (*said, *done.findings)


def loose_line(
    file: Path,
    cell: Cell,
    material: str | None,
    *,
    quantity: int = 1,
    finish: str | None = None,
    quality_class: str | None = None,
) -> OrderLine:
    """An order line for a file that nobody has ordered yet; what is not given is the cell's first."""
    return OrderLine(
        line=1,
        order="",
        received=NO_DAY,
        customer="",
        part=file.stem,
        revision="",
        quantity=quantity,
        material=cell.material(material).name if material else cell.materials[0].name,
        finish=cell.finish(finish).name if finish else cell.finishes[0].name,
        quality_class=cell.quality_class(quality_class).name if quality_class else cell.classes[0].name,
        due=NO_DAY,
        file=file.name,
    )


def worst_of(judged: Judged) -> str:
    """One word for the state of a file: refused, blocking, warning, note or good."""
    if judged.part is None:
        return "refused"
    order = [Severity.BLOCKING, Severity.WARNING, Severity.NOTE]
    present = {f.severity for f in judged.part.findings}
    return next((s.value for s in order if s in present), "good")
