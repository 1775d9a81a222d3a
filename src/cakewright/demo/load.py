"""The demo cells: read them, or write everything a person would have on disk."""

from __future__ import annotations

from importlib import import_module
from importlib.resources import as_file, files
from pathlib import Path

from cakewright.demo.writing import PartFile, file_name, write_parts
from cakewright.errors import InputError
from cakewright.formats.cell_toml import read_cell
from cakewright.formats.orders_csv import read_orders
from cakewright.model.cell import Cell
from cakewright.model.order import OrderList

DEMOS = ("a", "b")


def demo_cell(name: str = "a") -> Cell:
    """The invented cell `name`."""
    with as_file(files(__package__) / f"cell_{_known(name)}.toml") as path:
        return read_cell(path)


def demo_orders(name: str = "a") -> OrderList:
    """The week of order lines of cell `name`, starting Monday 2027-03-01."""
    with as_file(files(__package__) / f"orders_{_known(name)}.csv") as path:
        return read_orders(path, demo_cell(name))


def demo_parts(name: str = "a") -> dict[int, PartFile]:
    """For each order line the file that holds its part and how the body is made."""
    module = import_module(f"{__package__}.parts_{_known(name)}")
    found = {}
    for line in demo_orders(name).lines:
        kind = module.KINDS.get(line.line, "stl")
        found[line.line] = PartFile(file_name(line.part, line.revision, kind), module.BODIES[line.line], kind)
    return found


def write_demo_parts(folder: str | Path, name: str = "a") -> dict[int, str]:
    """Generate the mesh files of cell `name` into `folder`; the file name of each line."""
    return write_parts(Path(folder), demo_parts(name))


def write_demo(folder: str | Path, name: str = "a", lines: int | None = None) -> Path:
    """Write `cell.toml`, `orders.csv` and `parts/` into `folder` (made if missing); returns the folder.

    `lines`: only the first so many order lines and their parts.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "cell.toml").write_bytes((files(__package__) / f"cell_{_known(name)}.toml").read_bytes())
    rows = (files(__package__) / f"orders_{name}.csv").read_bytes().splitlines(keepends=True)
    (folder / "orders.csv").write_bytes(b"".join(rows if lines is None else rows[: lines + 1]))
    wanted = {line.line for line in demo_orders(name).lines[:lines]}
    write_parts(folder / "parts", {number: part for number, part in demo_parts(name).items() if number in wanted})
    return folder


def _known(name: str) -> str:
    if name not in DEMOS:
        raise InputError(f"no demo cell {name!r}", remedy=f"use one of: {', '.join(DEMOS)}")
    return name
