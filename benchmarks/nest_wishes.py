"""What arranging gains: every wish of one nest before and after, in the same run, with the steps a second.

    python benchmarks/nest_wishes.py [steps]

Ninety blocks of fifteen sizes on fifteen lines, one line wanted early, two fragile, two that look alike.
"""

from __future__ import annotations

import sys
import time

import numpy as np

from cakewright.model.mesh import Mesh
from cakewright.nesting.fulfil import judge
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.wishes import NestWishes
from cakewright.stopping import MaxSteps


def block(x: float, y: float, z: float) -> Mesh:
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float) * [x, y, z]
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners, np.array(faces))


def main() -> None:
    steps = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rng = np.random.default_rng(3)
    sizes = rng.uniform(8, 60, (15, 3))
    sizes[6], sizes[11] = sizes[4] * 1.02, sizes[2]
    meshes = {f"p{n:02d}": block(*size) for n, size in enumerate(sizes)}
    turns = np.array([np.eye(3), np.eye(3)[[1, 2, 0]], np.eye(3)[[2, 0, 1]]])
    pieces = [
        NestPiece(f"p{n:02d}-{i}", f"p{n:02d}", n + 1, 1.0 if n == 9 else 0.0) for n in range(15) for i in range(6)
    ]
    wishes = NestWishes(fragile=frozenset({"p03", "p12"}), apart=(frozenset({5, 7}),))
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, turns), NestSpace(190, 240, 320, 5), 4.0, 2.0, wishes)
    first = nest(task, stop=MaxSteps(40), seed=1, arrange_stop=MaxSteps(0))
    began = time.perf_counter()
    last = nest(task, stop=MaxSteps(40), seed=1, arrange_stop=MaxSteps(steps))
    both = time.perf_counter() - began
    began = time.perf_counter()
    nest(task, stop=MaxSteps(40), seed=1, arrange_stop=MaxSteps(0))
    alone = time.perf_counter() - began
    print(f"{len(pieces)} pieces, seed 1, {steps} steps, {steps / max(both - alone, 1e-9):.0f} steps/s")
    print(f"{'wish':32} {'unit':8} {'before':>9} {'after':>9} {'points':>9} {'points':>9}")
    for a, b in zip(judge(task, first), judge(task, last), strict=True):
        print(f"{a.words:32} {a.unit:8} {a.value:9.1f} {b.value:9.1f} {a.price:9.2f} {b.price:9.2f}")


if __name__ == "__main__":
    main()
