"""Small disks that can be filled and locked: a file system in memory for root, a limit on file sizes for everybody."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

SIZE_MB = 6


@dataclass(slots=True)
class SmallDisk:
    """A folder whose disk can be filled, emptied and locked. `how` says what stands in for the disk."""

    folder: Path
    how: str

    @contextmanager
    def full(self) -> Iterator[None]:
        """Not a byte more can be written inside."""
        if self.how == "memory":
            filler = self.folder / ".filler"
            with filler.open("wb", buffering=0) as out:
                for size in (1 << 16, 4096, 1):
                    try:
                        while True:
                            out.write(b"\0" * size)
                    except OSError:
                        continue
            try:
                yield
            finally:
                filler.unlink()
            return
        before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # then the writing fails instead of ending the program
        _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, hard))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
            signal.signal(signal.SIGXFSZ, before)

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Nothing can be written inside: a read-only disk, or folders without write rights."""
        if self.how == "memory":
            subprocess.run(["mount", "-o", "remount,ro", str(self.folder)], check=True)
            try:
                yield
            finally:
                subprocess.run(["mount", "-o", "remount,rw", str(self.folder)], check=True)
            return
        places = [self.folder, *(p for p in self.folder.rglob("*"))]
        for place in places:
            place.chmod(0o555 if place.is_dir() else 0o444)
        is_root = os.geteuid() == 0
        if is_root:
            os.seteuid(65534)
        try:
            yield
        finally:
            if is_root:
                os.seteuid(0)
            for place in places:
                place.chmod(0o755 if place.is_dir() else 0o644)


@contextmanager
def small_disk(folder: Path) -> Iterator[SmallDisk]:
    """A disk of a few megabytes at `folder`, or the limits of the operating system where none can be mounted."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", f"size={SIZE_MB}m,mode=0755", "tmpfs", str(folder)]
    try:
        mounted = os.geteuid() == 0 and subprocess.run(command, check=False, capture_output=True).returncode == 0
    except FileNotFoundError:
        mounted = False
    try:
        yield SmallDisk(folder, "memory" if mounted else "limits")
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(folder)], check=True)
