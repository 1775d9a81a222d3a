"""Real parts nested, proven and compared with the best box packing of the same run.

    python benchmarks/nesting.py --parts 200 --seconds 60 --base 160 --voxel 1.5 --seed 1

Draws parts with a fixed seed from `meshes/real` of the test data (units given as mm, boxes that fit the base, closed
or not). Prints one table; nothing is asserted.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import resource
import time
from pathlib import Path

import numpy as np
import trimesh

from cakewright.model.mesh import Mesh
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSeconds

AXES = ("bbox_x_mm", "bbox_y_mm", "bbox_z_mm")


def cube_rotations() -> np.ndarray:
    turns = []
    for axes in itertools.permutations(range(3)):
        for signs in itertools.product([1, -1], repeat=3):
            turn = np.zeros((3, 3))
            turn[range(3), axes] = signs
            if np.linalg.det(turn) > 0:
                turns.append(turn)
    return np.array(turns)


def draw(folder: Path, count: int, base: float, seed: int) -> tuple[dict[str, Mesh], list[NestPiece]]:
    with (folder / "MANIFEST.csv").open(newline="") as f:
        rows = [r for r in csv.DictReader(f) if r["units_guess"] == "mm"]
    names = [r["file"] for r in rows if max(float(r[a]) for a in AXES) <= base - 10]
    chosen = [names[i] for i in np.random.default_rng(seed).integers(0, len(names), count)]
    meshes = {}
    for name in sorted(set(chosen)):
        raw = trimesh.load(folder / name, force="mesh")
        meshes[name] = Mesh(raw.vertices, raw.faces)
    return meshes, [NestPiece(f"p{i:04d}", k, 1) for i, k in enumerate(chosen)]


def box_packing(sizes: np.ndarray, base: float, clearance: float, step: float) -> float:
    """Lowest height of boxes on a height map: six box orientations, six orders, each box to its lowest spot."""
    orders = [-sizes.prod(1), -sizes.max(1), -np.sort(sizes, 1)[:, 1], -sizes.min(1), -np.sort(sizes, 1)[:, 1:].prod(1)]
    best = np.inf
    for key in [*orders, np.random.default_rng(0).random(len(sizes))]:
        best = min(best, _pile(sizes[np.argsort(key, kind="stable")], base, clearance, step))
    return best


def _pile(sizes: np.ndarray, base: float, clearance: float, step: float) -> float:
    from scipy.ndimage import maximum_filter1d

    n = round((base + clearance) / step)  # a gap behind the last box is not needed
    ground = np.zeros((n, n))
    for size in sizes:
        best = (np.inf, 0.0, 0, 0, 0, 0)
        for turn in set(itertools.permutations(size.tolist())):
            a, b = (int(np.ceil((turn[k] + clearance) / step - 1e-9)) for k in (0, 1))
            if a > n or b > n:
                continue
            under = maximum_filter1d(maximum_filter1d(ground, a, axis=0, origin=-(a // 2)), b, axis=1, origin=-(b // 2))
            under = under[: n - a + 1, : n - b + 1]
            at = int(np.argmin(under))
            i, j = divmod(at, under.shape[1])
            best = min(best, (under[i, j] + turn[2], under[i, j], i, j, a, b))
        top, _, i, j, a, b = best
        ground[i : i + a, j : j + b] = top + clearance
    return float(ground.max() - clearance)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    ask.add_argument("--parts", type=int, default=200)
    ask.add_argument("--seconds", type=float, nargs="+", default=[0.0, 60.0])
    ask.add_argument("--base", type=float, default=160.0)
    ask.add_argument("--voxel", type=float, default=1.5)
    ask.add_argument("--clearance", type=float, default=3.0)
    ask.add_argument("--seed", type=int, default=1)
    a = ask.parse_args()
    meshes, pieces = draw(a.data / "meshes" / "real", a.parts, a.base, a.seed)
    solid = sum(volume_mm3(meshes[p.part_key]) for p in pieces)
    boxes = np.array([meshes[p.part_key].size_mm for p in pieces])
    start = time.monotonic()
    box_height = box_packing(boxes, a.base, a.clearance, 0.5)
    box_density = solid / (a.base**2 * box_height)
    print(
        f"{a.parts} of {len(meshes)} parts, {solid / 1e3:.0f} cm3, base {a.base:g}, gap {a.clearance:g}, seed {a.seed}"
    )
    print(f"boxes: height {box_height:.1f} mm, density {box_density:.2%}, {time.monotonic() - start:.1f} s")
    turns = cube_rotations()
    task = NestTask(meshes, pieces, dict.fromkeys(meshes, turns), NestSpace(a.base, a.base, 2000), a.clearance, a.voxel)
    print(
        "| voxel | search s | total s | height mm | density | x boxes | clear | tightest | check s | free | peak MB |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|---|")
    for seconds in a.seconds:
        start = time.monotonic()
        result = nest(task, stop=MaxSeconds(seconds, time.monotonic), seed=a.seed)
        spent = time.monotonic() - start
        seen = verify_nest(meshes, result.placements, task.space, a.clearance, clock=time.monotonic)
        way = removal(meshes, result.placements, task.space, voxel_mm=a.voxel)
        gap = f"{seen.tightest.gap_mm:.3f}" if seen.tightest else "-"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"| {a.voxel:g} | {seconds:g} | {spent:.1f} | {result.height_mm:.1f} | {result.density:.2%} |"
              f" {result.density / box_density:.2f} | {seen.is_clear} | {gap} | {seen.seconds:.2f} | "
              f"{way.is_free} | {peak:.0f} |",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
