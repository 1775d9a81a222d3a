"""Reading and judging a part: seconds, processor seconds and peak memory at 200,000 triangles.

Baseline in the same run: the volume by one numpy pass over the triangles. Run: python benchmarks/parts.py
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.parts.test_check import CHAMBER, NYLON

from cakewright.formats.mesh_file import read_mesh_bytes
from cakewright.formats.stl import stl_bytes
from cakewright.model.mesh import Mesh
from cakewright.parts.check import check_part
from cakewright.parts.measure import _areas_and_normals, measure
from cakewright.parts.rays import RayScene, spread_spots, wall_by_ray
from cakewright.parts.repair import repair
from cakewright.parts.signature import signature

SIDE = 316  # torus of 2 x 316 x 316 = 199,712 triangles
RAYS = 1_000_000


def wavy_ring() -> Mesh:
    """A closed ring with a wavy surface, 120 mm across."""
    u, v = np.meshgrid(np.arange(SIDE), np.arange(SIDE), indexing="ij")
    a, b = 2 * np.pi * u / SIDE, 2 * np.pi * v / SIDE
    r = 12 + 1.5 * np.cos(9 * a + 5 * b)
    at = np.stack([(45 + r * np.cos(b)) * np.cos(a), (45 + r * np.cos(b)) * np.sin(a), r * np.sin(b)], axis=-1)
    i, j = u.ravel(), v.ravel()
    p, q = i * SIDE + j, (i + 1) % SIDE * SIDE + j
    s, t = (i + 1) % SIDE * SIDE + (j + 1) % SIDE, i * SIDE + (j + 1) % SIDE
    return Mesh(at.reshape(-1, 3), np.concatenate([np.column_stack([p, q, s]), np.column_stack([p, s, t])]))


def timed(title: str, work: Callable[[], object], baseline_s: float | None = None) -> float:
    work()  # compile first
    _areas_and_normals.cache_clear()  # nothing is left over from that
    start, cpu = time.perf_counter(), time.process_time()
    work()
    seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
    ratio = f"{seconds / baseline_s:8.1f}" if baseline_s else "       1"
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{title:44}{seconds * 1000:10.1f} ms {cpu * 1000:10.1f} ms cpu {ratio} x {peak:8.0f} MB")
    return seconds


def main() -> None:
    mesh = wavy_ring()
    measures = measure(mesh)
    data = stl_bytes(mesh, "ring")
    print(f"{len(mesh.faces)} triangles, {measures.volume_cm3:.2f} cm³, seed 1\n")

    def volume_only() -> float:
        a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)

    base = timed("baseline: volume only", volume_only)
    timed("measure", lambda: measure(mesh), base)
    timed("read binary STL, joined", lambda: read_mesh_bytes(data, "ring.stl"), base)
    timed("check_part, everything", lambda: check_part(
        mesh, measures, where="ring", material=NYLON, chamber_type=CHAMBER), base)  # fmt: skip
    timed("signature", lambda: signature(mesh), base)
    timed("repair with half of the faces turned", lambda: repair(Mesh(mesh.vertices, np.where(
        (np.arange(len(mesh.faces)) % 2 == 0)[:, None], mesh.faces, mesh.faces[:, ::-1]))), base)  # fmt: skip
    scene, spots = RayScene(mesh), spread_spots(mesh, RAYS, 1)
    seconds = timed(f"{RAYS} wall rays", lambda: wall_by_ray(mesh, scene, spots), base)
    print(f"\n{RAYS / seconds / 1e6:.2f} million rays a second")


if __name__ == "__main__":
    main()
