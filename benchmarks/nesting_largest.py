"""How high the largest pieces of a draw stand alone: what no place found for the small ones can undercut.

    python benchmarks/nesting_largest.py --draws 1 2 3 --largest 20 40 80 200 --seconds 60

The k largest pieces (by box) are nested without the others. "all, density" is the density that ALL pieces of the draw
would have at that height, as if the others needed no room at all. "goal height" is the height the goal asks for.
Where the first is below the goal for few pieces already, better places for the small ones cannot reach it: only a
better pile of the large ones can. The heights are those of a search, so no proof that lower piles do not exist.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from cakewright.nesting.search import nest, volume_mm3
from cakewright.nesting.task import NestSpace, NestTask
from cakewright.stopping import MaxSeconds
from nesting import ROOM, cube_rotations, drawn, real_meshes


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--data", type=Path, default=Path(__file__).resolve().parents[2] / "shared")
    ask.add_argument("--draws", type=int, nargs="+", default=[1, 2, 3])
    ask.add_argument("--parts", type=int, default=200)
    ask.add_argument("--largest", type=int, nargs="+", default=[20, 40, 80, 200])
    ask.add_argument("--base", type=float, default=160.0)
    ask.add_argument("--longest", type=float, nargs="+", default=[100.0, 150.0])
    ask.add_argument("--clearance", type=float, default=3.0)
    ask.add_argument("--goal", type=float, default=0.30)
    ask.add_argument("--seconds", type=float, default=60.0)
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--processor", action="store_true", help="count processor seconds: for a machine that others use")
    a = ask.parse_args()
    clock = time.process_time if a.processor else time.monotonic
    print("| draw | up to, mm | largest | their share of all boxes | height mm | all, density | goal height |")
    print("|---|---|---|---|---|---|---|")
    for longest in a.longest:
        pool = real_meshes(a.data / "meshes" / "real", min(longest, a.base - ROOM))
        for draw in a.draws:
            meshes, pieces = drawn(pool, a.parts, draw)
            solid = sum(volume_mm3(meshes[p.part_key]) for p in pieces)
            box = np.array([meshes[p.part_key].size_mm.prod() for p in pieces])
            order = np.argsort(-box, kind="stable")
            for k in a.largest:
                chosen = [pieces[i] for i in order[:k]]
                turns = dict.fromkeys(meshes, cube_rotations())
                task = NestTask(meshes, chosen, turns, NestSpace(a.base, a.base, 2000.0), a.clearance, 1.5)
                made = nest(task, stop=MaxSeconds(a.seconds, clock), seed=1, workers=a.workers)
                share = box[order[:k]].sum() / box.sum()
                print(
                    f"| {draw} | {longest:g} | {k} | {share:.0%} | {made.height_mm:.1f} |"
                    f" {solid / (a.base**2 * made.height_mm):.2%} | {solid / (a.base**2 * a.goal):.0f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
