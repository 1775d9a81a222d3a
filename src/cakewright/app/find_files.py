"""Which mesh file belongs to which order line."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from pathlib import Path

from cakewright.errors import InputError
from cakewright.model.order import OrderLine

MESH_SUFFIXES = frozenset({".stl", ".obj", ".ply", ".3mf", ".step", ".stp"})


def mesh_files(folder: Path) -> tuple[Path, ...]:
    """The mesh files below `folder`, sorted; InputError when the folder is not there."""
    if not folder.is_dir():
        raise InputError(f"no folder {folder}", remedy="give the folder with the mesh files after --parts")
    return tuple(sorted(p for p in folder.rglob("*") if p.suffix.lower() in MESH_SUFFIXES and p.is_file()))


def file_of_line(line: OrderLine, files: Iterable[Path], folder: Path) -> Path:
    """The mesh file of an order line.

    The column `file` decides; without it the name of the part, with or without the revision, must be
    the name of exactly one file. InputError says which names were near.
    """
    files = tuple(files)
    if line.file:
        return _named(line, files, folder)
    wanted = {_plain(f"{line.part} {line.revision}")}
    found = [f for f in files if _plain(f.stem) in wanted] or [f for f in files if _plain(f.stem) == _plain(line.part)]
    if len(found) == 1:
        return found[0]
    if len(found) > 1:
        names = ", ".join(f.name for f in found)
        raise InputError(f"{len(found)} files could be {line.title!r}: {names}", remedy="name one in the column 'file'")
    raise InputError(
        f"no mesh file for {line.title!r}{_near(line.part, files)}",
        remedy=f"put it into {folder} under that name, or name the file in the column 'file'",
    )


def _named(line: OrderLine, files: tuple[Path, ...], folder: Path) -> Path:
    name = str(line.file)
    inside = (folder / name).resolve()
    if not inside.is_relative_to(folder.resolve()):
        raise InputError(f"file {name!r} lies outside {folder}", remedy="use a name inside the parts folder")
    if inside.is_file():
        return inside
    same = [f for f in files if f.name == name]
    if len(same) == 1:
        return same[0]
    raise InputError(f"file {name!r} is not in {folder}{_near(name, files)}", remedy="put it there or mend the name")


def _near(name: str, files: tuple[Path, ...]) -> str:
    close = difflib.get_close_matches(name, [f.name for f in files], n=3, cutoff=0.5)
    return f"; nearest names: {', '.join(close)}" if close else ""


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "-", text.casefold()).strip("-")
