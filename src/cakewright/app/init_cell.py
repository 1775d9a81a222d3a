"""Write the cell file that a new user fills in."""

from __future__ import annotations

import tempfile
from pathlib import Path

from cakewright.errors import InputError
from cakewright.formats.cell_toml import cell_template, read_cell
from cakewright.model.cell import Cell


def init_cell(path: str | Path) -> Path:
    """Write the commented template to `path`; InputError rather than overwriting anything."""
    path = Path(path)
    if path.exists():
        raise InputError(f"{path} is already there", remedy="choose another name, or move the old file away")
    try:
        path.write_text(cell_template(), encoding="utf-8")
    except OSError as wrong:
        raise InputError(
            f"{path} cannot be written: {wrong.strerror}", remedy="choose a folder you may write to"
        ) from wrong
    return path


def template_cell() -> Cell:
    """The cell of the template, for judging files before anybody has described a cell."""
    with tempfile.TemporaryDirectory() as folder:
        return read_cell(init_cell(Path(folder) / "template.toml"))
