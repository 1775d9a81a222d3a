"""`cakewright check`: one row a file, every finding below it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.markup import escape

from cakewright.cli.screen import console

if TYPE_CHECKING:
    from cakewright.app.check_part import Judged
    from cakewright.model.cell import Cell


def run_check(
    files: list[Path],
    cell: Path | None,
    material: str | None,
    report: Path | None = None,
    visible: str = "",
    load: str = "",
) -> None:
    """Print what each file is and what is wrong with it; exit code 2 when one cannot be planned.

    A single file also gets its three best ways up; `report` is a folder for a report on each file.
    """
    from cakewright.app.check_part import check_files, worst_of
    from cakewright.app.init_cell import template_cell
    from cakewright.formats.cell_toml import read_cell

    the_cell = read_cell(cell) if cell else template_cell()
    if cell is None:
        console.print("Judged against the template cell; give your own with --cell.", style="dim")
    all_good = True
    count = 0
    for judged in check_files(files, the_cell, material):
        count += 1
        all_good &= judged.can_be_planned
        _show(judged, worst_of(judged))
        if len(files) == 1 and files[0].is_file():
            _show_turns(judged, the_cell, material, visible, load)
        if report is not None:
            _write(judged, the_cell, material, report)
    if count == 0:
        console.print("No mesh files there (STL, OBJ, PLY, 3MF).")
    if not all_good:
        raise typer.Exit(2)


def _show(judged: Judged, word: str) -> None:
    style = {"refused": "bold red", "blocking": "bold red", "warning": "yellow", "good": "green"}.get(word, "")
    name = escape(judged.file.name)
    if judged.part is None:
        console.print(f"[{style}]{word:<9}[/] [bold]{name}[/]")
        console.print(f"          {escape(judged.refused)} -> {escape(judged.remedy)}")
        return
    part = judged.part
    x, y, z = part.measures.size_mm
    closed = "closed" if part.measures.is_watertight else "open"
    console.print(
        f"[{style or 'none'}]{word:<9}[/] [bold]{name}[/]  {x:.1f} x {y:.1f} x {z:.1f} mm, "
        f"{part.measures.volume_cm3:.2f} cm³, {part.measures.triangles:,} triangles, {closed}; "
        f"{part.origin.unit.value}: {escape(part.origin.unit_reason)}"
    )
    for finding in part.findings:
        console.print(f"          {finding.severity.value}: {escape(finding.message)} -> {escape(finding.remedy)}")


def _show_turns(judged: Judged, cell: Cell, material: str | None, visible: str, load: str) -> None:
    from cakewright.app.report_part import best_turns, side_of

    if judged.part is None:
        return
    name = material or cell.materials[0].name
    turns = best_turns(judged.part, cell, name, visible=side_of(visible, "--visible"), load=side_of(load, "--load"))
    console.print("          which way up:")
    for n, turn in enumerate(turns, start=1):
        console.print(f"          {n}. {escape(turn.reason)}")


def _write(judged: Judged, cell: Cell, material: str | None, folder: Path) -> None:
    from datetime import UTC, datetime

    from cakewright.app.report_part import part_sheet, write_report

    sheet = part_sheet(judged, cell, material or cell.materials[0].name, made=datetime.now(UTC))
    html, pdf = write_report(sheet, folder)
    console.print(f"          report: {html}, {pdf.name}", style="dim", markup=False)
