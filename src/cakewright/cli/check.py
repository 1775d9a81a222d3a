"""`cakewright check`: one row a file, every finding below it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.markup import escape

from cakewright.cli.screen import console

if TYPE_CHECKING:
    from cakewright.app.check_apart import Checked


def run_check(
    files: list[Path],
    cell: Path | None,
    material: str | None,
    report: Path | None = None,
    visible: str = "",
    load: str = "",
    faces: str = "",
    db: str | None = None,
) -> None:
    """Print what each file is and what is wrong with it; exit code 2 when one cannot be planned.

    A single file also gets its largest faces and three best ways up; `report` is a folder for a report on each file.
    `faces` are numbers such as 1,4; `db` a database whose marked faces count. Each file is judged in a process of its
    own with limits on memory and processor time.
    """
    from cakewright.app.check_apart import Wish, check_apart
    from cakewright.app.init_cell import template_cell
    from cakewright.errors import InputError
    from cakewright.formats.cell_toml import read_cell

    the_cell = read_cell(cell) if cell else template_cell()
    if cell is None:
        console.print("Judged against the template cell; give your own with --cell.", style="dim")
    wanted = the_cell.material(material).name if material else the_cell.materials[0].name
    if not the_cell.machines_for(wanted):
        raise InputError(f"no machine of the cell prints {wanted}", remedy="choose a material with --material")
    alone = len(files) == 1 and files[0].is_file()
    numbers = numbers_in(faces, "--faces")
    if numbers and not alone:
        raise InputError("--faces with several files", remedy="check one file, or mark the faces with cakewright faces")
    wish = Wish(wanted, visible, load, alone, report, numbers, _kept(db))
    all_good = True
    count = 0
    for checked in check_apart(files, the_cell, wish):
        count += 1
        all_good &= checked.can_be_planned
        _show(checked)
    if count == 0:
        console.print("No mesh files there (STL, OBJ, PLY, 3MF).")
    if not all_good:
        raise typer.Exit(2)


def _kept(db: str | None) -> dict[str, tuple[tuple[float, float, float], ...]]:
    """Faces marked in a database, by file; none without one."""
    if db is None:
        return {}
    from cakewright.app.mark_faces import marked_by_file
    from cakewright.app.serve import check_database
    from cakewright.store import open_store

    check_database(db)
    with open_store(db) as store:
        return marked_by_file(store)


def numbers_in(words: str, where: str) -> tuple[int, ...]:
    """The numbers of '1,4'; InputError for anything else."""
    from cakewright.errors import InputError

    numbers = [n.strip() for n in words.split(",") if n.strip()]
    if any(not n.isdigit() for n in numbers):
        raise InputError(f"{where} is {words!r}", remedy="give numbers such as 1,4")
    return tuple(int(n) for n in numbers)


def _show(checked: Checked) -> None:
    word = checked.word
    style = {"refused": "bold red", "blocking": "bold red", "warning": "yellow", "good": "green"}.get(word, "")
    name = escape(checked.file.name)
    if checked.size_mm is None:
        console.print(f"[{style}]{word:<9}[/] [bold]{name}[/]")
        console.print(f"          {escape(checked.refused)} -> {escape(checked.remedy)}")
    else:
        x, y, z = checked.size_mm
        closed = "closed" if checked.is_closed else "open"
        console.print(
            f"[{style or 'none'}]{word:<9}[/] [bold]{name}[/]  {x:.1f} x {y:.1f} x {z:.1f} mm, "
            f"{checked.volume_cm3:.2f} cm³, {checked.triangles:,} triangles, {closed}; {escape(checked.unit)}"
        )
    for finding in checked.findings:
        console.print(f"          {finding.severity.value}: {escape(finding.message)} -> {escape(finding.remedy)}")
    if checked.faces:
        console.print("          its largest faces:")
    for said in checked.faces:
        console.print(f"          {escape(said)}")
    if checked.turns:
        console.print("          which way up:")
    for n, reason in enumerate(checked.turns, start=1):
        console.print(f"          {n}. {escape(reason)}")
    if checked.reports:
        html, pdf = checked.reports
        console.print(f"          report: {html}, {pdf.name}", style="dim", markup=False)
