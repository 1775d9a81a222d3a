"""Where the room of a nest goes, and what a density goal asks for: parts, their clearance shells, and what is left.

    python benchmarks/nesting_waste.py --draws 1 2 3 --seconds 60 --workers 2

Two parts that keep a clearance c never share a point nearer than c/2 to either, so parts grown by c/2 can be packed
like solids without clearance, in a base and height larger by c. "grown" is the volume of the grown parts over that of
the parts; "goal needs" the share of the room that grown parts must fill for the goal; "filled" the share they fill in
the nest found. Published packings of irregular solids without clearance fill 31 to 46 % without turns (the instances
of `nesting_published.py`; ours 47 to 60 % with 24 turns), few of them of more than 45 pieces: what the goal needs is to
be held against that. Then, for each tenth of the height and for the rim (10 mm along the walls) against the core, the
share that is part and the share within c/2 of a part, counted on cells of 1 mm.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from scipy.ndimage import distance_transform_edt

sys.path.insert(0, str(Path(__file__).resolve().parent))

from cakewright.model.mesh import Mesh
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import block_of
from cakewright.nesting.task import NestSpace, NestTask
from cakewright.nesting.tight import settled
from cakewright.nesting.voxels import is_closed, solid_cells
from cakewright.stopping import MaxSeconds
from nesting import ROOM, cube_rotations, drawn, real_meshes

CELL = 1.0  # mm
RIM = 10  # mm along the walls


def grown_mm3(mesh: Mesh, by_mm: float) -> float:
    """Volume within `by_mm` of a part, on cells of half a millimetre (any touch, so half a cell is taken off)."""
    cell = 0.5 if mesh.size_mm.prod() < 6e5 else 0.75
    low = mesh.box_mm[0] - by_mm - 2 * cell
    n = np.ceil((mesh.size_mm + 2 * by_mm + 4 * cell) / cell).astype(int)
    cells = solid_cells((mesh.triangles - low) / cell, (int(n[0]), int(n[1]), int(n[2])), closed=is_closed(mesh))
    return float((distance_transform_edt(cells == 0) * cell <= by_mm - cell / 2).sum() * cell**3)


def shares(task: NestTask, placements: tuple, height: float) -> tuple[np.ndarray, np.ndarray]:
    """Cells of the cake that are part, and cells within half the clearance of one."""
    n = [int(np.ceil(v / CELL)) + 2 for v in (*task.space.inner_mm, height)]
    solid = np.zeros(n, bool)
    for p in placements:
        block = block_of(task.meshes[p.part_key], p, task.space, CELL)
        (x, y, z), (a, b, c) = block.at, block.grid.shape
        solid[x : x + a, y : y + b, z : z + c] |= block.grid > 0
    solid = solid[: n[0] - 2, : n[1] - 2, : n[2] - 2]
    near = distance_transform_edt(~solid) * CELL <= task.clearance_mm / 2 - CELL / 2
    return solid, near


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    ask.add_argument("--draws", type=int, nargs="+", default=[1, 2, 3])
    ask.add_argument("--parts", type=int, default=200)
    ask.add_argument("--base", type=float, default=160.0)
    ask.add_argument("--longest", type=float, nargs="+", default=[100.0, 150.0])
    ask.add_argument("--clearance", type=float, default=3.0)
    ask.add_argument("--goal", type=float, default=0.30)
    ask.add_argument("--seconds", type=float, default=0.0, help="0: numbers of the draws only, no nest")
    ask.add_argument("--workers", type=int, default=1)
    a = ask.parse_args()
    print(
        "| draw | longest mm | litres | grown | goal needs | density | filled |\n|---|---|---|---|---|---|---|",
        flush=True,
    )
    profiles = []
    for longest in a.longest:
        pool = real_meshes(a.data / "meshes" / "real", min(longest, a.base - ROOM))
        grown_of = {key: grown_mm3(mesh, a.clearance / 2) for key, mesh in pool.items()}
        for draw in a.draws:
            meshes, pieces = drawn(pool, a.parts, draw)
            solid = sum(volume_mm3(meshes[p.part_key]) for p in pieces)
            grown = sum(grown_of[p.part_key] for p in pieces)

            def filled(density: float, solid: float = solid, grown: float = grown) -> float:
                height = solid / density / a.base**2
                return grown / ((a.base + a.clearance) ** 2 * (height + a.clearance))

            line = f"| {draw} | {longest:g} | {solid / 1e6:.2f} | {grown / solid:.2f} | {filled(a.goal):.1%} |"
            if a.seconds > 0:
                turns = dict.fromkeys(meshes, cube_rotations())
                task = NestTask(meshes, pieces, turns, NestSpace(a.base, a.base, 2000.0), a.clearance, 1.5)
                found = nest(task, stop=MaxSeconds(a.seconds, time.monotonic), seed=1, workers=a.workers)
                found = settled(task, found)
                line += f" {found.density:.2%} | {filled(found.density):.1%} |"
                profiles.append((draw, longest, *shares(task, found.placements, found.height_mm)))
            print(line if a.seconds > 0 else line + " - | - |", flush=True)
    if not profiles:
        return
    print("\nPart / within c/2 of a part, %, by tenth of the height from below, then rim and core:\n")
    print("| draw | longest | " + " | ".join(str(k) for k in range(1, 11)) + " | rim | core |\n" + "|---" * 14 + "|")
    for draw, longest, part, near in profiles:
        cuts = np.array_split(np.arange(part.shape[2]), 10)
        tenths = [f"{part[:, :, k].mean():.0%} / {near[:, :, k].mean():.0%}" for k in cuts]
        core = (slice(RIM, -RIM), slice(RIM, -RIM))
        inner = [g[core].mean() for g in (part, near)]
        share = part[core].size / part.size
        rim = [(g.mean() - i * share) / (1 - share) for g, i in zip((part, near), inner, strict=True)]
        ends = [f"{p:.0%} / {n:.0%}" for p, n in (rim, inner)]
        print(f"| {draw} | {longest:g} | " + " | ".join([*tenths, *ends]) + " |")


if __name__ == "__main__":
    main()
