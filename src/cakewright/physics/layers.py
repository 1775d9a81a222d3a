"""Every layer of a build from exact cuts at mid-layer height: sintered area, outline length, pieces cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.compiled import kernel
from cakewright.errors import GeometryError
from cakewright.model.build import LayerProfile, Placement
from cakewright.model.mesh import FloatArray, IntArray, Mesh
from cakewright.sources.physics import SLICE_TOLERANCE

_TOUCH = 1e-4  # in layers: rounding in a height or a placement must not add a layer


@dataclass(frozen=True, eq=False)
class PieceSlices:
    """Cuts of one piece; row 0 is build layer `first`. Areas mm², contours mm, volume mm³."""

    first: int
    area_mm2: FloatArray
    contour_mm: FloatArray
    volume_mm3: float
    flat_area_mm2: float


def layer_count(height_mm: float, layer_mm: float) -> int:
    """Layers needed for a height; a height within rounding of a whole number of layers needs no extra one."""
    return int(np.ceil(height_mm / layer_mm - _TOUCH))


def layer_profile(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], layer_mm: float, height_mm: float
) -> LayerProfile:
    """Cut all placed pieces at the middle of every layer.

    Parameters
    ----------
    meshes
        Mesh of each `part_key`.
    placements
        Where each piece stands, chamber coordinates, z = 0 at the bottom of the first part layer.
    layer_mm, height_mm
        Layer thickness and height of the stack of part layers (base and cover powder not counted).

    Raises
    ------
    GeometryError
        When a mesh is missing, a piece leaves 0..height, or the cuts of a piece do not add up to its
        volume, which means that its surface is not closed.

    Areas are signed sums over triangles, so holes count as holes; bodies of one piece that overlap
    count twice. Layer sums approach the volume with the mid-layer rule: the error of one piece is at
    most half a layer times its projected up- and down-facing area.
    """
    if not (layer_mm > 0 and height_mm > 0):
        raise GeometryError(f"layer {layer_mm} mm, height {height_mm} mm", remedy="both must be above zero")
    n = layer_count(height_mm, layer_mm)
    area, contour, outlines = np.zeros(n), np.zeros(n), np.zeros(n, dtype=np.int32)
    for placement, cut in piece_slices(meshes, placements, layer_mm):
        rows = slice(cut.first, cut.first + len(cut.area_mm2))
        if cut.first < 0 or rows.stop > n:
            raise GeometryError(
                f"layers {cut.first} to {rows.stop} of {n}",
                remedy="the piece must stand between the platform and the height of the build",
                where=placement.piece,
            )
        area[rows] += cut.area_mm2
        contour[rows] += cut.contour_mm
        outlines[rows] += cut.contour_mm > 0
    return LayerProfile(layer_mm, np.maximum(area, 0.0), contour, outlines)


def piece_slices(
    meshes: Mapping[str, Mesh], placements: Sequence[Placement], layer_mm: float
) -> list[tuple[Placement, PieceSlices]]:
    """The cuts of each piece. Pieces of one part, turn and height within the layer are cut once."""
    seen: dict[tuple[str, bytes, int], PieceSlices] = {}
    out = []
    for p in placements:
        if p.part_key not in meshes:
            raise GeometryError(f"no mesh for part {p.part_key!r}", remedy="give the mesh", where=p.piece)
        whole, rest = divmod(float(p.translation[2]), layer_mm)
        key = (p.part_key, np.round(p.rotation, 9).tobytes(), round(rest / layer_mm / _TOUCH))
        if key not in seen:
            seen[key] = _slice(meshes[p.part_key], np.asarray(p.rotation, dtype=np.float64), rest, layer_mm, p.piece)
        cut = seen[key]
        out.append((p, _raised(cut, int(whole))))
    return out


def _raised(cut: PieceSlices, layers: int) -> PieceSlices:
    return PieceSlices(cut.first + layers, cut.area_mm2, cut.contour_mm, cut.volume_mm3, cut.flat_area_mm2)


def _slice(mesh: Mesh, rotation: FloatArray, lift_mm: float, layer_mm: float, piece: str) -> PieceSlices:
    vertices = np.ascontiguousarray(mesh.vertices @ rotation.T)
    vertices -= mesh.box_mm.mean(axis=0) @ rotation.T * [1.0, 1.0, 0.0]  # small x, y: less rounding in areas
    vertices[:, 2] += lift_mm
    used = vertices[mesh.faces.reshape(-1), 2]
    first = int(np.floor(used.min() / layer_mm + _TOUCH))
    n = max(layer_count(float(used.max()) - first * layer_mm, layer_mm), 1)
    area, contour = np.zeros(n), np.zeros(n)
    volume, flat = _cut(vertices, mesh.faces, first * layer_mm, layer_mm, area, contour)
    _must_agree(float(area.sum() * layer_mm), volume, flat, layer_mm, piece)
    return PieceSlices(first, area, contour, volume, flat)


def _must_agree(sliced: float, volume: float, flat: float, layer_mm: float, piece: str) -> None:
    """Mid-layer rule for a function of bounded variation: error <= layer / 2 x total variation of the area."""
    allowed = 0.5 * layer_mm * flat + SLICE_TOLERANCE.value * abs(volume)
    if volume <= 0 or abs(sliced - volume) > allowed:
        raise GeometryError(
            f"the layers add up to {sliced:.1f} mm³, the surface encloses {volume:.1f} mm³",
            remedy="the surface is open or inside out: repair the mesh",
            where=piece,
        )


@kernel
def _cut(
    vertices: FloatArray, faces: IntArray, z0: float, layer: float, area: FloatArray, contour: FloatArray
) -> tuple[float, float]:
    """Add each triangle's part of every mid-layer cut; return volume and projected horizontal area.

    A corner on the plane counts as above it, so each closed surface gives closed outlines. The cut of
    a triangle runs along z x n (n its outward normal): the solid lies to the left.
    """
    n = area.shape[0]
    volume = 0.0
    flat = 0.0
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        ax, ay, az = vertices[a, 0], vertices[a, 1], vertices[a, 2] - z0
        bx, by, bz = vertices[b, 0], vertices[b, 1], vertices[b, 2] - z0
        cx, cy, cz = vertices[c, 0], vertices[c, 1], vertices[c, 2] - z0
        cross = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        flat += 0.5 * abs(cross)
        volume += 0.5 * cross * (az + bz + cz) / 3.0
        low, high = min(az, bz, cz), max(az, bz, cz)
        k0 = max(int(np.floor(low / layer - 0.5)), 0)
        k1 = min(int(np.floor(high / layer - 0.5)) + 1, n - 1)
        for k in range(k0, k1 + 1):
            z = (k + 0.5) * layer
            if not (low < z <= high):
                continue
            # turn the triangle so that corner 0 is alone on its side of the plane
            if (az >= z) != (bz >= z) and (az >= z) != (cz >= z):
                x0, y0, w0, x1, y1, w1, x2, y2, w2 = ax, ay, az, bx, by, bz, cx, cy, cz
            elif (bz >= z) != (cz >= z) and (bz >= z) != (az >= z):
                x0, y0, w0, x1, y1, w1, x2, y2, w2 = bx, by, bz, cx, cy, cz, ax, ay, az
            else:
                x0, y0, w0, x1, y1, w1, x2, y2, w2 = cx, cy, cz, ax, ay, az, bx, by, bz
            t1 = (z - w0) / (w1 - w0)
            t2 = (z - w0) / (w2 - w0)
            px, py = x0 + t1 * (x1 - x0), y0 + t1 * (y1 - y0)
            qx, qy = x0 + t2 * (x2 - x0), y0 + t2 * (y2 - y0)
            signed = 0.5 * (px * qy - qx * py)
            area[k] += signed if w0 >= z else -signed
            contour[k] += np.sqrt((qx - px) ** 2 + (qy - py) ** 2)
    return volume, flat


def height_of(profile: LayerProfile) -> float:
    """Height of the stack of part layers in mm."""
    return profile.layers * profile.layer_mm
