"""Judge files in a process of its own: one that eats memory or time, or kills it, costs that file and nothing else."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.find_files import mesh_files
from cakewright.app.worker import Ended, Limits, Report, Told, Worker
from cakewright.errors import InputError
from cakewright.findings import Finding
from cakewright.model.cell import Cell
from cakewright.model.part import Part
from cakewright.parts.faces import Place, faces_of

EACH = Limits(memory_bytes=8 * 1024**3, cpu_seconds=600)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted for each file: the material, sides for the ways up (None: not wanted), a folder for reports.

    `faces` are numbers of faces (of `faces_of`) that must look good; `marked` the places on such faces that were kept
    before, by the hash of the file.
    """

    material: str
    visible: str = ""
    load: str = ""
    with_turns: bool = False
    report: Path | None = None
    faces: tuple[int, ...] = ()
    marked: Mapping[str, tuple[Place, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Checked:
    """One file as it is told: small enough to travel between processes. Without a size it was refused."""

    file: Path
    word: str
    can_be_planned: bool
    size_mm: tuple[float, float, float] | None = None
    volume_cm3: float = 0.0
    triangles: int = 0
    is_closed: bool = False
    unit: str = ""
    findings: tuple[Finding, ...] = ()
    refused: str = ""
    remedy: str = ""
    faces: tuple[str, ...] = ()
    turns: tuple[str, ...] = ()
    reports: tuple[Path, ...] = ()


def check_apart(files: Sequence[Path], cell: Cell, wish: Wish, limits: Limits = EACH) -> Iterator[Checked]:
    """Judge every file, one after the other, in a worker that is replaced when a file ends it.

    `limits` hold for each file. InputError, raised before a file is judged, for a wish that cannot be met.
    """
    todo = [file for path in files for file in _below(path)]
    while todo:
        worker = Worker(_one_after_another, tuple(todo), cell, wish, limits, limits=limits)
        try:
            for said in worker.messages():
                if isinstance(said, Told) and isinstance(said.value, Checked):
                    yield said.value
                    todo.pop(0)
                elif isinstance(said, Ended) and not said.is_good:
                    if said.code == "input":
                        raise InputError(said.found, remedy=said.remedy, where=said.where)
                    yield Checked(todo.pop(0), "refused", False, refused=said.found, remedy=said.remedy)
        finally:
            worker.stop()


def _below(path: Path) -> tuple[Path, ...]:
    if not path.exists():
        raise InputError(f"no file or folder {path}", remedy="mend the name")
    return mesh_files(path) if path.is_dir() else (path,)


def _one_after_another(report: Report, files: tuple[Path, ...], cell: Cell, wish: Wish, limits: Limits) -> None:
    for number, file in enumerate(files, start=1):
        _begin_file(limits)
        report("checking", number, len(files), file.name, _check(file, cell, wish))


def _begin_file(limits: Limits) -> None:
    """Processor time is counted for each file, though the process goes on."""
    if limits.cpu_seconds is None or os.name != "posix":
        return
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF)
    _, hard = resource.getrlimit(resource.RLIMIT_CPU)
    until = int(used.ru_utime + used.ru_stime) + limits.cpu_seconds
    resource.setrlimit(resource.RLIMIT_CPU, (until if hard == resource.RLIM_INFINITY else min(until, hard), hard))


def _check(file: Path, cell: Cell, wish: Wish) -> Checked:
    from cakewright.app.check_part import judge, worst_of
    from cakewright.app.report_part import Looks, best_turns, part_sheet, side_of, write_report
    from cakewright.documents.part_faces import shown_faces

    visible, load = side_of(wish.visible, "--visible"), side_of(wish.load, "--load")
    judged = judge(file, cell, wish.material)
    part = judged.part
    looks = Looks(visible, load, () if part is None else _places(part, wish))
    turns: tuple[str, ...] = ()
    faces: tuple[str, ...] = ()
    reports: tuple[Path, ...] = ()
    if wish.with_turns and part is not None:
        turns = tuple(t.reason for t in best_turns(part, cell, wish.material, looks))
        shown = shown_faces(part.mesh, looks.faces)
        faces = (*(f"{f.number}. {shown.words_of(f)}" for f in shown.listed), shown.said)
    if wish.report is not None:
        reports = write_report(part_sheet(judged, cell, wish.material, looks, made=datetime.now(UTC)), wish.report)
    if part is None:
        return Checked(file, worst_of(judged), False, refused=judged.refused, remedy=judged.remedy, reports=reports)
    return Checked(
        file, worst_of(judged), judged.can_be_planned, part.measures.size_mm, part.measures.volume_cm3,
        part.measures.triangles, part.measures.is_watertight, f"{part.origin.unit.value}: {part.origin.unit_reason}",
        part.findings, faces=faces, turns=turns, reports=reports,
    )  # fmt: skip


def _places(part: Part, wish: Wish) -> tuple[Place, ...]:
    """Places on the faces that must look good: those asked for now, else those kept for this file."""
    if not wish.faces:
        return wish.marked.get(part.origin.sha256, ())
    listed = {f.number: f.at_mm for f in faces_of(part.mesh)}
    unknown = [n for n in wish.faces if n not in listed]
    if unknown:
        raise InputError(
            f"the part has no face {unknown[0]}", remedy=f"choose from 1 to {len(listed)}", where="--faces"
        )
    return tuple(listed[n] for n in wish.faces)
