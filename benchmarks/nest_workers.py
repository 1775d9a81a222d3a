"""Do threads help to nest several builds? The same jobs one after the other and side by side, in one run.

    python benchmarks/nest_workers.py [steps]

Prints wall seconds of both, the ratio, and whether the nests are the same.
"""

from __future__ import annotations

import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from cakewright.model.mesh import Mesh
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.wishes import NestWishes
from cakewright.nesting.workers import NestJob, nest_many
from cakewright.stopping import MaxSteps


def block(x: float, y: float, z: float) -> Mesh:
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float) * [x, y, z]
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners, np.array(faces))


def job(seed: int, steps: int) -> NestJob:
    """Sixty blocks of twelve sizes in a 190 x 240 x 320 mm chamber."""
    rng = np.random.default_rng(seed)
    sizes = rng.uniform(8, 70, (12, 3))
    meshes = {f"p{n}": block(*size) for n, size in enumerate(sizes)}
    turns = np.array(
        [np.eye(3)[list(p)] * (1 if s > 0 else -1) for p, s in (((0, 1, 2), 1), ((1, 2, 0), 1), ((2, 0, 1), 1))]
    )
    pieces = [NestPiece(f"p{n}-{i}", f"p{n}", n) for n in range(12) for i in range(5)]
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, turns), NestSpace(190, 240, 320, 5), 4.0, 2.0, NestWishes())
    return NestJob(task, MaxSteps(steps), seed, MaxSteps(steps))


def main() -> None:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    nest_many([job(9, 1)])  # compile
    began = time.perf_counter()
    alone = nest_many([job(s, steps) for s in (1, 2)])
    one = time.perf_counter() - began
    began = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        beside = nest_many([job(s, steps) for s in (1, 2)], pool)
    two = time.perf_counter() - began
    same = all(
        np.array_equal(p.matrix, q.matrix)
        for a, b in zip(alone, beside, strict=True)
        for p, q in zip(a.placements, b.placements, strict=True)
    )
    print(f"2 builds, {steps} steps, {os.cpu_count()} cores: {one:.1f} s, with 2 threads {two:.1f} s, "
          f"ratio {one / two:.2f}, same nests: {same}")  # fmt: skip


if __name__ == "__main__":
    main()
