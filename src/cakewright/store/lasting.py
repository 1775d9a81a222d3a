"""Files that stay after a power cut: their content and their name are both handed to the disk."""

from __future__ import annotations

import os
from pathlib import Path


def flush_file(path: Path) -> None:
    """Hand the content of a file to the disk. OSError when the disk refuses."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def flush_folder(path: Path) -> None:
    """Hand the names in a folder to the disk, so that a file put in place by a rename is found there again.

    Does nothing where folders cannot be opened (Windows keeps names in its own journal).
    """
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def flush_tree(folder: Path) -> None:
    """Hand every file and every name below `folder` to the disk."""
    for path in (folder, *folder.rglob("*")):
        if path.is_dir():
            flush_folder(path)
        else:
            flush_file(path)
