"""Small cells and order books that are planned for real in a second or two."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cakewright.app.init_cell import template_cell
from cakewright.formats.stl import write_stl
from cakewright.model.cell import Cell
from cakewright.model.mesh import Mesh

HEADER = "line,order,received,customer,part,rev,qty,material,finish,class,due,file,flags"


def block(x: float, y: float, z: float) -> Mesh:
    """A closed block, lowest corner at the origin."""
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float)
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners * [x, y, z], np.array(faces))


def small_cell() -> Cell:
    """The template cell: one machine, its chambers, one person."""
    return template_cell()


def write_order_book(folder: Path, cell: Cell, rows: list[str] | None = None) -> tuple[Path, Path]:
    """Three blocks on three lines, due within the week of Monday 2027-03-01; returns list and parts folder."""
    parts = folder / "parts"
    parts.mkdir(parents=True, exist_ok=True)
    for name, size in {"brick": (40, 20, 10), "plate": (80, 60, 4), "cube": (15, 15, 15)}.items():
        write_stl(parts / f"{name}.stl", block(*size), name)
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    if rows is None:
        rows = [
            f"{n},A-1,2027-03-01,Team,{part},A,{qty},{material},{finish},{quality},2027-03-10,{part}.stl,"
            for n, (part, qty) in enumerate({"brick": 6, "plate": 3, "cube": 8}.items(), start=1)
        ]
    book = folder / "orders.csv"
    book.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return book, parts
