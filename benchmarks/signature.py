"""Error rates of the part signature on published meshes.

Every real mesh in ../shared/meshes/real is compared with its own turned, mirrored, 2 % larger, re-triangulated,
single-precision and decimated copies, and with every other mesh. Run: python benchmarks/signature.py
"""

from __future__ import annotations

import sys
import time
from itertools import combinations
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.conftest import outside_data

from cakewright.formats.mesh_file import read_mesh
from cakewright.model.mesh import Mesh
from cakewright.parts.measure import measure
from cakewright.parts.orient import random_rotations
from cakewright.parts.signature import are_told_apart, is_same_part, kind_of_pair, signature

SEED = 7
GUESSED_INCH = {"angle_block.stl", "cycloidal_drive_set.ply", "idler_riser.stl", "octagonal_pocket.ply"}


def loaded(folder: Path) -> dict[str, Mesh]:
    meshes = {}
    for path in sorted(folder.iterdir()):
        if path.suffix in (".stl", ".obj", ".ply", ".3mf"):
            found, _ = read_mesh(path)
            factor = found.unit.mm if found.unit else 25.4 if path.name in GUESSED_INCH else 1.0
            meshes[path.name] = found.mesh.scaled(factor)
    return meshes


def turned(mesh: Mesh, seed: int) -> Mesh:
    return mesh.placed(random_rotations(1, seed)[0], np.array([120.0, -40, 15]))


def mirrored(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices * [-1, 1, 1], mesh.faces[:, ::-1])


def split(mesh: Mesh) -> Mesh:
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    middle = (a + b + c) / 3
    corners = np.concatenate([np.stack(t, axis=1) for t in ((a, b, middle), (b, c, middle), (c, a, middle))])
    return Mesh(corners.reshape(-1, 3), np.arange(len(corners) * 3).reshape(-1, 3))


def single(mesh: Mesh) -> Mesh:
    return Mesh((mesh.vertices + 200.0).astype(np.float32).astype(np.float64), mesh.faces)


def decimated(mesh: Mesh) -> Mesh:
    import manifold3d

    raw = manifold3d.Mesh(mesh.vertices.astype(np.float32), mesh.faces.astype(np.uint32))
    body = manifold3d.Manifold(raw).simplify(0.02)
    out = body.to_mesh()
    return Mesh(out.vert_properties[:, :3], out.tri_verts) if len(out.tri_verts) else mesh


def main() -> None:
    data = outside_data()
    if data is None:
        sys.exit("published meshes not found: set CAKEWRIGHT_TEST_DATA")
    meshes = loaded(data / "meshes" / "real")
    start = time.perf_counter()
    base = {name: signature(mesh) for name, mesh in meshes.items()}
    each = (time.perf_counter() - start) / len(meshes)
    print(f"{len(meshes)} meshes, {each * 1000:.0f} ms a signature, seed {SEED}\n")
    print(f"{'copy':28}{'n':>5}{'same':>7}{'mirror':>8}{'near':>6}{'apart':>7}   wanted same")
    for title, change in (("turned", lambda m: m), ("every triangle in three", split), ("single precision", single),
                          ("decimated to 0.02 mm", decimated), ("2 % larger", lambda m: m.scaled(1.02)),
                          ("mirrored", mirrored)):  # fmt: skip
        counts = dict.fromkeys(("same", "mirror", "near", "apart"), 0)
        missed = []
        for k, (name, mesh) in enumerate(meshes.items()):
            if title.startswith("decimated") and not measure(mesh).is_watertight:
                continue
            copy = signature(turned(change(mesh), SEED + k), seed=SEED)
            kind = "apart" if are_told_apart(base[name], copy) else kind_of_pair(base[name], copy)
            counts[kind] += 1
            if kind in (("same",) if title == "2 % larger" else ("near", "apart")):
                missed.append(name)
        row = "".join(f"{counts[k]:>{w}}" for k, w in (("same", 7), ("mirror", 8), ("near", 6), ("apart", 7)))
        print(f"{title:28}{sum(counts.values()):>5}{row}   {', '.join(missed)[:90]}")
    wrong = [pair for pair in combinations(base, 2) if is_same_part(base[pair[0]], base[pair[1]])]
    near = [pair for pair in combinations(base, 2) if not are_told_apart(base[pair[0]], base[pair[1]])]
    total = len(base) * (len(base) - 1) // 2
    print(f"\ndifferent files called the same part: {len(wrong)} of {total} pairs: {wrong}")
    print(f"different files that look alike on the table: {len(near)}: {near}")


if __name__ == "__main__":
    main()
