"""How the nest grows: seconds and peak memory against the number of parts and the size of the voxel.

    python benchmarks/nesting_growth.py --parts 20 50 100 200 500 1000 --voxels 4 2 1 0.5

Each case runs in a process of its own, one after the other, so that its peak memory is its own; seconds are
processor seconds of one core, which a busy machine disturbs less. The base grows with
the number of parts (as its square root) so that piles stay about equally high. Columns: cells = turning parts into
cells in 24 turns, place = one construction, nest = the whole call with no time to search (cells, all constructions,
removal), check = the exact proof. The last lines give exponents fitted to logarithms: seconds ~ parts^p, and seconds
~ (1 / voxel)^q; a line with fewer than three cases gives none. Parts are drawn with a fixed seed from `meshes/real`
of the test data, or with --made from blocks, rings and balls.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).resolve().parent))

from cakewright.model.mesh import Mesh
from cakewright.nesting.bank import make_bank
from cakewright.nesting.construct import Workspace, construct, orders
from cakewright.nesting.search import nest
from cakewright.nesting.settle import settle
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.verify import verify_nest
from cakewright.stopping import MaxSteps
from nesting import cube_rotations, draw

Row = dict[str, float]


def made(count: int, seed: int) -> tuple[dict[str, Mesh], list[NestPiece]]:
    """Blocks, rings and balls of many sizes."""
    rng = np.random.default_rng(seed)
    meshes = {}
    for i in range(min(count, 40)):
        a, b, c = rng.uniform(8, 50, 3)
        raw = (
            trimesh.creation.box((a, b, c)),
            trimesh.creation.annulus(a / 3, a / 2, c / 2),
            trimesh.creation.icosphere(subdivisions=3, radius=b / 2),
        )[i % 3]
        meshes[f"m{i:02d}"] = Mesh(raw.vertices, raw.faces)
    keys = list(meshes)
    return meshes, [NestPiece(f"p{i:04d}", keys[int(rng.integers(len(keys)))], 1) for i in range(count)]


def case(data: Path, real: bool, parts: int, voxel: float, clearance: float, seed: int, settled: bool) -> Row:
    """One case, measured from inside its own process."""
    base = max(160.0, 160.0 * (parts / 200) ** 0.5)
    meshes, pieces = draw(data / "meshes" / "real", parts, 160.0, seed) if real else made(parts, seed)
    task = NestTask(
        meshes, pieces, dict.fromkeys(meshes, cube_rotations()), NestSpace(base, base, 1200), clearance, voxel
    )
    few = NestTask(meshes, pieces[:1], task.rotations, NestSpace(base, base, 1200), clearance, 4.0)
    nest(few, stop=MaxSteps(0), seed=seed)  # compiled
    loaded = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    start = time.process_time()
    bank = make_bank(task, sorted(meshes))
    cells = time.process_time() - start
    part = np.array([bank.keys.index(p.part_key) for p in pieces], np.int64)
    start = time.process_time()
    construct(Workspace(bank), part, orders(bank, part, np.zeros(len(part)))[0])
    place = time.process_time() - start
    del bank
    start = time.process_time()
    result = nest(task, stop=MaxSteps(0), seed=seed)
    whole = time.process_time() - start
    start = time.process_time()
    seen = verify_nest(meshes, result.placements, task.space, clearance, clock=time.process_time)
    checked = time.process_time() - start
    out: Row = {
        "parts": parts, "voxel": voxel, "cells s": cells, "place s": place, "nest s": whole,
        "check s": checked, "base": base, "height": result.height_mm, "density": result.density,
        "left": len(result.left_out), "clear": float(seen.is_clear), "loaded MB": loaded,
    }  # fmt: skip
    if settled:
        start = time.process_time()
        after = settle(meshes, result.placements, task.space, clearance, stop=MaxSteps(1000))
        out["settle s"] = time.process_time() - start
        out["settled"] = max(p.z_max_mm for p in after)
    out["peak MB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return out


def exponent(x: list[float], y: list[float]) -> str:
    """Slope of log y over log x by least squares, with its standard error."""
    if len(x) < 3 or min(y) <= 0:
        return "-"
    a, b = np.log(x), np.log(y)
    (slope, shift), *_ = np.linalg.lstsq(np.stack([a, np.ones_like(a)], axis=1), b, rcond=None)
    rest = b - slope * a - shift
    spread = np.sqrt((rest**2).sum() / max(1, len(x) - 2) / ((a - a.mean()) ** 2).sum())
    return f"{slope:.2f} +- {spread:.2f}"


def show(row: Row) -> str:
    cells = [f"{row['parts']:.0f}", f"{row['voxel']:g}", f"{row['base']:.0f}"]
    cells += [f"{row[c]:.2f}" for c in ("cells s", "place s", "nest s", "check s")]
    cells += [f"{row['height']:.1f}", f"{row['density']:.2%}", f"{row['left']:.0f}"]
    cells += ["clear" if row["clear"] else "NOT CLEAR"]
    cells += [f"{row[c]:.1f}" if c in row else "-" for c in ("settle s", "settled")]
    return "| " + " | ".join([*cells, f"{row['loaded MB']:.0f}", f"{row['peak MB']:.0f}"]) + " |"


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    ask.add_argument("--made", action="store_true", help="parts made by code instead of real ones")
    ask.add_argument("--parts", type=int, nargs="+", default=[20, 50, 100, 200, 500, 1000])
    ask.add_argument("--voxels", type=float, nargs="+", default=[4.0, 2.0, 1.0, 0.5])
    ask.add_argument("--fixed-parts", type=int, default=100, help="number of parts while the voxel changes")
    ask.add_argument("--fixed-voxel", type=float, default=2.0, help="voxel while the number of parts changes")
    ask.add_argument("--clearance", type=float, default=3.0)
    ask.add_argument("--settle", action="store_true", help="settle each nest as well")
    ask.add_argument("--seed", type=int, default=1)
    a = ask.parse_args()
    cases = [(n, a.fixed_voxel) for n in a.parts] + [(a.fixed_parts, v) for v in a.voxels]
    print(f"{'made' if a.made else 'real'} parts, clearance {a.clearance:g} mm, seed {a.seed}, 24 turns each")
    print("| parts | voxel mm | base mm | cells s | place s | nest s | check s | height mm | density |"
          " left out | exact check | settle s | settled mm | start MB | peak MB |")  # fmt: skip
    print("|" + "---|" * 15, flush=True)
    rows: dict[tuple[int, float], Row] = {}
    fresh = multiprocessing.get_context("spawn")
    for n, v in dict.fromkeys(cases):
        with ProcessPoolExecutor(1, mp_context=fresh) as pool:
            rows[n, v] = pool.submit(case, a.data, not a.made, n, v, a.clearance, a.seed, a.settle).result()
        print(show(rows[n, v]), flush=True)
    by_parts = [rows[n, a.fixed_voxel] for n in a.parts]
    by_voxel = [rows[a.fixed_parts, v] for v in a.voxels]
    print("\n| grows with | cells s | place s | nest s | check s | peak MB |\n|---|---|---|---|---|---|")
    for label, some, of in (("parts", by_parts, "parts"), ("1 / voxel", by_voxel, "voxel")):
        x = [r[of] if of == "parts" else 1 / r[of] for r in some]
        fits = [exponent(x, [r[c] for r in some]) for c in ("cells s", "place s", "nest s", "check s", "peak MB")]
        print(f"| {label} | " + " | ".join(fits) + " |")


if __name__ == "__main__":
    main()
