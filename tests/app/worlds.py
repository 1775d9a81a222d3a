"""Small cells and order books that are planned for real in a second or two."""

from __future__ import annotations

from pathlib import Path

from cakewright.app.init_cell import template_cell
from cakewright.formats.stl import write_stl
from cakewright.model.cell import Cell
from tests.conftest import box_mesh

HEADER = "line,order,received,customer,part,rev,qty,material,finish,class,due,file,flags"


def small_cell() -> Cell:
    """The template cell: one machine, its chambers, one person."""
    return template_cell()


def write_order_book(folder: Path, cell: Cell, rows: list[str] | None = None) -> tuple[Path, Path]:
    """Three blocks on three lines, due within the week of Monday 2027-03-01; returns list and parts folder."""
    parts = folder / "parts"
    parts.mkdir(parents=True, exist_ok=True)
    for name, size in {"brick": (40, 20, 10), "plate": (80, 60, 4), "cube": (15, 15, 15)}.items():
        write_stl(parts / f"{name}.stl", box_mesh(*size), name)
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    if rows is None:
        rows = [
            f"{n},A-1,2027-03-01,Team,{part},A,{qty},{material},{finish},{quality},2027-03-10,{part}.stl,"
            for n, (part, qty) in enumerate({"brick": 6, "plate": 3, "cube": 8}.items(), start=1)
        ]
    book = folder / "orders.csv"
    book.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return book, parts
