"""STEP (ISO 10303-21), by the extra `step`: solids are cut into triangles within a chord error."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from cakewright.formats.judge import Judge
from cakewright.formats.raw import Body, RawMesh
from cakewright.sources import parts as limits
from cakewright.units import LengthUnit

LIBRARY = "OCP"
INSTALL = (
    "install it with  pip install 'cakewright[step]'  (about 400 MB), or export STL or 3MF from the design program"
)
WORKER = Path(__file__).with_name("step_worker.py")
UNREADABLE = 3
LONGEST_S = 180.0
MOST_BYTES = 6_000_000_000  # memory of the worker


def parse_step(data: bytes, judge: Judge) -> RawMesh:
    """Triangles of all solids, in mm. The library runs in a process of its own, with limits on time and memory."""
    if b"ISO-10303-21" not in data[:1024]:
        judge.refuse("a STEP file begins with ISO-10303-21, this one does not", "export it again as STEP or STL")
    if find_spec(LIBRARY) is None:
        judge.refuse("STEP files need an extra that is not installed", INSTALL)
    chord, angle = float(limits.STEP_CHORD), float(limits.STEP_ANGLE)
    with tempfile.TemporaryDirectory(prefix="cakewright-step-") as folder:
        source, target = Path(folder) / "in.step", Path(folder) / "out.npz"
        source.write_bytes(data)
        _run([sys.executable, str(WORKER), str(source), str(target), str(chord), str(angle)], judge)
        with np.load(target) as found:
            vertices, faces = found["vertices"].astype(np.float64), found["faces"].astype(np.int32)
            solids, loose = [int(n) for n in found["solids"]], int(found["loose"])
    judge.note("step.tessellated", f"curved faces were cut into triangles within {chord:g} mm and {angle:g}°")
    if loose:
        judge.warn(
            "step.loose-faces",
            f"{loose} faces belong to no solid",
            "join them into a solid in the design program and export it again",
        )
    ends = [*solids[1:], len(faces)]
    bodies = tuple(Body(f"solid {n}", a, b - a) for n, (a, b) in enumerate(zip(solids, ends, strict=False), start=1))
    return RawMesh("step", LengthUnit.MILLIMETER, vertices, faces, bodies)


def _run(command: list[str], judge: Judge) -> None:
    limit = _limited if os.name == "posix" else None
    try:
        done = subprocess.run(command, capture_output=True, timeout=LONGEST_S, check=False, preexec_fn=limit)
    except subprocess.TimeoutExpired:
        judge.refuse(f"cutting it into triangles took longer than {LONGEST_S:.0f} s", "simplify it, or export STL")
    if done.returncode == UNREADABLE:
        reason = done.stderr.decode("utf-8", "replace").strip().splitlines()
        judge.refuse(f"the STEP file cannot be used: {reason[-1] if reason else 'no reason given'}", "export it again")
    if done.returncode != 0:
        judge.refuse(
            f"the STEP library gave up on it (exit code {done.returncode})", "export it again, or export STL or 3MF"
        )


def _limited() -> None:
    """Runs in the worker before anything else: no more memory than a large part needs. Where the system can."""
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    except (ImportError, ValueError, OSError):
        return
