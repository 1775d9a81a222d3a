"""Real and made parts nested, proven and compared with the best box packing of the same run.

    python benchmarks/nesting.py --parts 200 --seconds 60 --base 160 --draws 1 2 3 --settle
    python benchmarks/nesting.py --parts 100 200 500 --base 160 330 --kind real made --workers 16 --settle

Draw rule, real parts: `--parts` pieces drawn with repetition from the files of FOLDER/meshes/real whose units are
millimetres without doubt and whose longest edge is at most `--longest` and 10 mm less than the base; closed meshes
or not; never scaled. Made parts: the bodies of the demo cell, drawn the same way. The draw matters more than the
search (see nesting_waste.py), so several are made; a mean follows where there is more than one.
`--turns axis`: the 24 axis turns; `--turns shape`: those of `orientations_for` too (smallest box, positions at rest),
with `--sampled` evenly spread ones. `--settle` settles what the search found ("by cells mm") on the exact meshes, with
`--turning` also by small turns about the vertical. `--wishes` asks for what a plan asks (each kind a line, every tenth
wanted early, every eighth fragile, some alike); "points" is the price of all wishes before and after settling.
Prints one table; nothing is asserted. "first" is the time to the first build with
proof (`stop` at once, exact check included, machine code loaded before); the time of the search does not include it.
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

from cakewright.demo.load import demo_parts
from cakewright.demo.shapes import kit
from cakewright.model.mesh import Mesh
from cakewright.model.part import OrientationRule
from cakewright.nesting.fulfil import judge
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.separable import removal
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.tight import settled
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import NestWishes
from cakewright.parts.orient import axis_rotations
from cakewright.stopping import MaxSeconds, MaxSteps

AXES = ("bbox_x_mm", "bbox_y_mm", "bbox_z_mm")
ROOM = 10.0  # mm less than the base that a part may be long
HEAD = (
    "| parts | draw | kinds | base | litres | voxel | first s | search s | by cells mm | height mm | points | density |"
    " boxes | x boxes | clear | tightest | check s | free | peak MB |"
)


def real_meshes(folder: Path, longest: float) -> dict[str, Mesh]:
    """The meshes of the test data whose units are sure and whose longest edge is not above a limit."""
    with (folder / "MANIFEST.csv").open(newline="") as f:
        rows = [r for r in csv.DictReader(f) if r["units_guess"] == "mm"]
    names = [r["file"] for r in rows if max(float(r[a]) for a in AXES) <= longest]
    loaded = {name: trimesh.load(folder / name, force="mesh") for name in names}
    return {name: Mesh(raw.vertices, raw.faces) for name, raw in loaded.items()}


def made_meshes(longest: float) -> dict[str, Mesh]:
    """The bodies of the demo cell."""
    out = {}
    for part in demo_parts("a").values():
        mesh = kit.to_mesh(part.make())
        if mesh.size_mm.max() <= longest:
            out[part.name] = mesh
    return out


def cube_rotations() -> np.ndarray:
    """The 24 axis turns."""
    return axis_rotations()


def turns_of(meshes: dict[str, Mesh], sampled: int = 0) -> dict[str, np.ndarray]:
    """The turns that a free part is nested in: axis turns, smallest box, positions at rest, and evenly spread ones."""
    return {key: orientations_for(mesh, OrientationRule(), 1, sampled=sampled) for key, mesh in meshes.items()}


def draw(folder: Path, count: int, base: float, seed: int) -> tuple[dict[str, Mesh], list[NestPiece]]:
    """`count` pieces of all real parts that fit the base."""
    return drawn(real_meshes(folder, base - ROOM), count, seed)


def drawn(meshes: dict[str, Mesh], count: int, seed: int) -> tuple[dict[str, Mesh], list[NestPiece]]:
    """`count` pieces drawn with repetition."""
    names = list(meshes)
    chosen = [names[i] for i in np.random.default_rng(seed).integers(0, len(names), count)]
    return {k: meshes[k] for k in sorted(set(chosen))}, [NestPiece(f"p{i:04d}", k, 1) for i, k in enumerate(chosen)]


def wished(meshes: dict[str, Mesh], pieces: list[NestPiece]) -> tuple[list[NestPiece], NestWishes]:
    """The pieces as lines of a plan, and its wishes."""
    keys = list(meshes)
    line = {key: n for n, key in enumerate(keys, start=1)}
    lined = [NestPiece(p.piece, p.part_key, line[p.part_key], float(line[p.part_key] % 10 == 0)) for p in pieces]
    alike = tuple(frozenset({n, n + 1}) for n in range(1, len(keys), 4))
    return lined, NestWishes(fragile=frozenset(keys[::8]), apart=alike)


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


def row(
    kind: str, meshes: dict[str, Mesh], pieces: list[NestPiece], base: float, number: int, a: argparse.Namespace
) -> tuple[str, float, float]:
    """One line of the table, the density and how many times that of the boxes it is."""
    solid = sum(volume_mm3(meshes[p.part_key]) for p in pieces)
    boxes = box_packing(np.array([meshes[p.part_key].size_mm for p in pieces]), base, a.clearance, 0.5)
    space = NestSpace(base, base, a.height)
    wishes = None
    if a.wishes:
        pieces, wishes = wished(meshes, pieces)
    task = NestTask(
        meshes,
        pieces,
        turns_of(meshes, a.sampled) if a.turns == "shape" else dict.fromkeys(meshes, axis_rotations()),
        space,
        a.clearance,
        a.voxel,
        wishes,
        turning=frozenset(meshes) if a.turning else frozenset(),
    )
    clock = time.process_time if a.processor else time.monotonic
    start = clock()
    made = nest(task, stop=MaxSteps(0), seed=a.seed)
    verify_nest(meshes, made.placements, space, a.clearance, clock=time.monotonic)
    first = clock() - start
    start = clock()
    made = nest(task, stop=MaxSeconds(a.seconds, clock), seed=a.seed, workers=a.workers)
    by_cells = made
    if a.settle:
        made = settled(task, made)
    spent = clock() - start
    points = " -> ".join(f"{sum(t.price for t in judge(task, m)):.1f}" for m in (by_cells, made)) if a.wishes else "-"
    seen = verify_nest(meshes, made.placements, space, a.clearance, clock=clock)
    way = removal(meshes, made.placements, space, voxel_mm=made.voxel_mm)
    gap = f"{seen.tightest.gap_mm:.3f}" if seen.tightest else "-"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    of_boxes = solid / (base**2 * boxes)
    ratio = made.density / of_boxes
    left = f" ({len(made.left_out)} left out)" if made.left_out else ""
    line = (
        f"| {len(pieces)} {kind}{left} | {number} | {len(meshes)} | {base:g} | {solid / 1e6:.2f} | {made.voxel_mm:g} |"
        f" {first:.1f} | {spent:.1f} | {by_cells.height_mm:.1f} | {made.height_mm:.1f} | {points} |"
        f" {made.density:.2%} | {of_boxes:.2%} | {ratio:.2f} |"
        f" {seen.is_clear} | {gap} | {seen.seconds:.2f} | {way.is_free} | {peak:.0f} |"
    )
    return line, made.density, ratio


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    ask.add_argument("--kind", choices=("real", "made"), nargs="+", default=["real"])
    ask.add_argument("--parts", type=int, nargs="+", default=[200])
    ask.add_argument("--base", type=float, nargs="+", default=[160.0])
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--longest", type=float, default=150.0)
    ask.add_argument("--height", type=float, default=2000.0)
    ask.add_argument("--voxel", type=float, default=1.5)
    ask.add_argument("--clearance", type=float, default=3.0)
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--processor", action="store_true", help="count processor seconds: for a machine that others use")
    ask.add_argument("--settle", action="store_true", help="settle on the exact meshes after the search")
    ask.add_argument("--turning", action="store_true", help="settling may turn pieces about the vertical")
    ask.add_argument("--wishes", action="store_true", help="ask for what a plan asks, and tell the price")
    ask.add_argument("--turns", choices=("axis", "shape"), default="axis")
    ask.add_argument("--sampled", type=int, default=0, help="evenly spread turns tried as well")
    ask.add_argument("--draws", type=int, nargs="+", default=[1], help="seeds of the draws")
    ask.add_argument("--seed", type=int, default=1, help="of the search")
    a = ask.parse_args()
    how = "settled, " if a.settle else ""
    unit = "processor s" if a.processor else "s"
    print(
        f"{a.clearance:g} mm clearance, {a.seconds:g} {unit} of search, {a.workers} workers, {how}seed {a.seed};\n"
        f"drawn with repetition from parts up to {a.longest:g} mm, none scaled; boxes: the same packed as boxes\n"
    )
    block = trimesh.creation.box((9, 9, 9))
    few = [NestPiece("a", "b", 1), NestPiece("c", "b", 1)]
    space = NestSpace(60, 60, 60)
    small = NestTask({"b": Mesh(block.vertices, block.faces)}, few, {"b": axis_rotations()}, space, 3.0, 1.5)
    verify_nest(small.meshes, nest(small, stop=MaxSteps(9), seed=1).placements, space, 3.0, clock=time.monotonic)
    print(HEAD)
    print("|---" * (HEAD.count("|") - 1) + "|")
    for kind in a.kind:
        for base in a.base:
            longest = min(a.longest, base - ROOM)
            pool = real_meshes(a.data / "meshes" / "real", longest) if kind == "real" else made_meshes(longest)
            for count in a.parts:
                rows = []
                for number in a.draws:
                    line, *figures = row(kind, *drawn(pool, count, number), base, number, a)
                    rows.append(figures)
                    print(line, flush=True)
                if len(rows) > 1:
                    mean = np.mean(rows, axis=0)
                    said = f"{mean[0]:.2%} | | {mean[1]:.2f}"
                    print(f"| mean of {len(rows)} | | | {base:g} | | | | | | | | {said} | | | | | |")


if __name__ == "__main__":
    main()
