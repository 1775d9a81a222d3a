"""Few building blocks for parametric demo parts, in mm.

Bodies stand centred on x = y = 0 with their lowest face on z = 0 unless they say otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from manifold3d import CrossSection, Manifold, OpType
from manifold3d import Mesh as RawMesh

from cakewright.errors import GeometryError
from cakewright.model.mesh import FloatArray, Mesh

Point = tuple[float, float]
Spot = tuple[float, float, float]
SLIVER = 0.01  # mm; shorter edges would collapse in the single precision of STL
ROUND = 48  # segments of a circle where nothing else is said


def union(parts: Iterable[Manifold]) -> Manifold:
    """All bodies as one."""
    return Manifold.batch_boolean(list(parts), OpType.Add)


def block(x: float, y: float, z: float, at: Spot = (0.0, 0.0, 0.0)) -> Manifold:
    """A box with its lowest corner at `at`."""
    return Manifold.cube((x, y, z)).translate(at)


def outline(x: float, y: float, r: float, segments: int = 32) -> CrossSection:
    """A rectangle x by y with corners of radius r, centred."""
    if r <= 0:
        return CrossSection.square((x, y), True)
    dots = [
        CrossSection.circle(r, segments).translate((sx * (x / 2 - r), sy * (y / 2 - r)))
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    return CrossSection.batch_hull(dots)


def plate(x: float, y: float, z: float, r: float = 0.0, segments: int = 32) -> Manifold:
    """A plate with rounded upright edges."""
    return outline(x, y, r, segments).extrude(z)


def rod(d: float, h: float, segments: int = ROUND, top: float | None = None) -> Manifold:
    """A round bar, tapering to diameter `top` when given."""
    return Manifold.cylinder(h, d / 2, d / 2 if top is None else top / 2, segments)


def ring(outer: float, inner: float, h: float, segments: int = ROUND) -> Manifold:
    """A tube."""
    return rod(outer, h, segments) - rod(inner, h + 2, segments).translate((0, 0, -1))


def along_x(body: Manifold) -> Manifold:
    """Turn +z to +x."""
    return body.rotate((0, 90, 0))


def along_y(body: Manifold) -> Manifold:
    """Turn +z to +y."""
    return body.rotate((-90, 0, 0))


def soft(x: float, y: float, z: float, r: float, segments: int = 24) -> Manifold:
    """A box with every edge rounded by r."""
    ball = Manifold.sphere(r, segments)
    corners = [
        ball.translate((sx * (x / 2 - r), sy * (y / 2 - r), zz))
        for sx in (-1, 1)
        for sy in (-1, 1)
        for zz in (r, z - r)
    ]
    return Manifold.batch_hull(corners)


def soft_bottom(section: Callable[[float], CrossSection], z: float, r: float, steps: int = 6) -> Manifold:
    """A convex body of height z whose lower edge is rounded by r; `section(inset)` gives its outline."""
    slices = []
    for i in range(steps + 1):
        angle = math.pi / 2 * i / steps
        inset, low = r * (1 - math.sin(angle)), r * (1 - math.cos(angle))
        slices.append(section(inset).extrude(0.01).translate((0, 0, low)))
    slices.append(section(0.0).extrude(0.01).translate((0, 0, z - 0.01)))
    return Manifold.batch_hull(slices)


def prism(points: Sequence[Point], h: float) -> Manifold:
    """A polygon pulled up by h."""
    return area_of(points).extrude(h)


def area_of(points: Sequence[Point]) -> CrossSection:
    """The area inside a simple polygon, whichever way round it is written."""
    turns = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))
    return CrossSection([list(points) if turns > 0 else list(points)[::-1]])


def lathe(points: Sequence[Point], segments: int = 96) -> Manifold:
    """A polygon of (radius, height) turned about z."""
    return area_of(points).revolve(segments)


def capsule(a: Spot, b: Spot, ra: float, rb: float | None = None, segments: int = 16) -> Manifold:
    """Two balls and what lies between."""
    rb = ra if rb is None else rb
    return Manifold.batch_hull([Manifold.sphere(ra, segments).translate(a), Manifold.sphere(rb, segments).translate(b)])


def around(body: Manifold, count: int, start_deg: float = 0.0) -> list[Manifold]:
    """`count` copies about z."""
    return [body.rotate((0, 0, start_deg + 360 * i / count)) for i in range(count)]


def at_spots(body: Manifold, spots: Iterable[Spot]) -> list[Manifold]:
    """One copy at each spot."""
    return [body.translate(spot) for spot in spots]


def corners(x: float, y: float, z: float = 0.0) -> list[Spot]:
    """The four corners of a rectangle x by y about the origin, at height z."""
    return [(sx * x / 2, sy * y / 2, z) for sx in (-1, 1) for sy in (-1, 1)]


def sweep(path: FloatArray, radius: float, sides: int = 8) -> Manifold:
    """A round bar along a path of points (n, 3); bends must be wider than the radius."""
    tangents = np.gradient(path, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1)[:, None]
    normal = np.cross(tangents[0], [0.0, 0.0, 1.0] if abs(tangents[0][2]) < 0.9 else [1.0, 0.0, 0.0])
    angles = 2 * np.pi * np.arange(sides) / sides
    rows = []
    for point, tangent in zip(path, tangents, strict=True):
        normal = normal - tangent * (normal @ tangent)
        normal /= np.linalg.norm(normal)
        side = np.cross(tangent, normal)
        rows.append(point + radius * (np.cos(angles)[:, None] * normal + np.sin(angles)[:, None] * side))
    vertices = np.concatenate([*rows, path[[0, -1]]])
    return solid(vertices, _tube_faces(len(path), sides))


def _tube_faces(rings: int, sides: int) -> list[tuple[int, int, int]]:
    faces = []
    first, last = rings * sides, rings * sides + 1
    for i in range(rings - 1):
        for j in range(sides):
            a, b = i * sides + j, i * sides + (j + 1) % sides
            faces += [(a, b, b + sides), (a, b + sides, a + sides)]
    for j in range(sides):
        k = (j + 1) % sides
        faces += [(first, k, j), (last, (rings - 1) * sides + j, (rings - 1) * sides + k)]
    return faces


def solid(vertices: FloatArray, faces: Sequence[tuple[int, int, int]]) -> Manifold:
    """A body from triangles; GeometryError when they do not close."""
    body = Manifold(RawMesh(np.asarray(vertices, dtype=np.float32), np.asarray(faces, dtype=np.uint32)))
    if body.status().name != "NoError" or body.is_empty():
        raise GeometryError(f"a demo body does not close: {body.status().name}")
    return body


def size_of(body: Manifold) -> Spot:
    """Lengths of the box."""
    x0, y0, z0, x1, y1, z1 = body.bounding_box()
    return (x1 - x0, y1 - y0, z1 - z0)


def to_mesh(body: Manifold) -> Mesh:
    """The body as a Mesh with its lowest corner at the origin."""
    if body.status().name != "NoError" or body.is_empty():
        raise GeometryError(f"a demo body cannot be made: {body.status().name}")
    x0, y0, z0, *_ = body.bounding_box()
    raw = body.simplify(SLIVER).translate((-x0, -y0, -z0)).to_mesh64()
    return Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts, dtype=np.int32))
