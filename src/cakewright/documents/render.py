"""Pictures of nests and parts: orthographic, shaded, outlined, readable in grey.

A line of the order has one tint; its lightness differs from that of its neighbours in the list so that
a black-and-white print still tells them apart. Drawing is done at twice the size and halved.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from cakewright.documents.raster import EMPTY, draw_lines, fill_triangles, ink, outline, spots
from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.plan import WeekPlan

View = Literal["corner", "front", "side", "top"]
Colour = tuple[float, float, float]
Bytes = NDArray[np.uint8]

# rows: right, up, towards the viewer, in chamber axes
_VIEWS: dict[str, FloatArray] = {
    "front": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
    "side": np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]]),
    "top": np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]),
}
_LIGHT = np.array([-0.35, 0.55, 0.76])
_OVERSAMPLE = 2
_MARGIN = 0.03
_INK: Colour = (0.13, 0.14, 0.16)
_FRAME: Colour = (0.45, 0.47, 0.50)
_PAPER: Colour = (1.0, 1.0, 1.0)
_GOLDEN = 0.618033988749895


def _corner_axes() -> FloatArray:
    """From the front left, a little above: both walls and the top are seen."""
    toward = np.array([-0.52, -0.72, 0.46])
    toward /= np.linalg.norm(toward)
    right = np.cross([0.0, 0.0, 1.0], toward)
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(toward, right), toward])


_VIEWS["corner"] = _corner_axes()


@dataclass(frozen=True, eq=False)
class Shape:
    """Something to draw: a mesh where it stands, under a name, in a colour.

    Say `is_closed` only of a closed mesh with its faces outwards: its far side is then not drawn.
    """

    name: str
    mesh: Mesh
    colour: Colour
    rotation: FloatArray = field(default_factory=lambda: np.eye(3))
    translation: FloatArray = field(default_factory=lambda: np.zeros(3))
    is_closed: bool = False


@dataclass(frozen=True, eq=False)
class Picture:
    """A drawing: `pixels` (h, w, 3), and for each visible name a spot on it as fractions of width and height.

    `axes` (3, 3), `low` (2,) mm, `scale` and `pad` in pixels of the drawing say where a point came to lie.
    """

    pixels: Bytes
    spots: Mapping[str, tuple[float, float]]
    seen_px: Mapping[str, int]
    axes: FloatArray
    low: FloatArray
    scale: float
    pad: float

    def where(self, point_mm: tuple[float, float, float]) -> tuple[float, float]:
        """Where a point of the chamber lies on the drawing, as fractions of width and height from the top left."""
        right, up, _ = self.axes @ np.asarray(point_mm)
        height, width = self.pixels.shape[:2]
        x = (right - self.low[0]) * self.scale + self.pad
        return float(x / width), float(1 - ((up - self.low[1]) * self.scale + self.pad) / height)

    @property
    def png(self) -> bytes:
        """The drawing as a PNG file, with at most 128 colours: pictures travel inside the report."""
        out = io.BytesIO()
        image = Image.fromarray(self.pixels).quantize(128, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        image.save(out, "PNG", optimize=True)
        return out.getvalue()


def tint(index: int) -> Colour:
    """Colour number `index`: hues far apart, neighbours differ in lightness as well."""
    hue = (0.58 + index * _GOLDEN) % 1.0
    light = (0.88, 0.62, 0.75, 0.50, 0.82, 0.56, 0.69)[index % 7]
    spread = 0.34 * min(light, 1 - light * 0.55)
    channels = [light + spread * np.cos(2 * np.pi * (hue - shift)) for shift in (0.0, 1 / 3, 2 / 3)]
    grey = 0.299 * channels[0] + 0.587 * channels[1] + 0.114 * channels[2]
    fitted = [float(np.clip(c * light / grey, 0.0, 1.0)) for c in channels]
    return (fitted[0], fitted[1], fitted[2])


def css_colour(colour: Colour) -> str:
    """'#aabbcc'."""
    return "#" + "".join(f"{round(255 * c):02x}" for c in colour)


def line_tints(plan: WeekPlan) -> dict[int, Colour]:
    """The tint of each order line, the same in all pictures of a plan."""
    return {line.line: tint(i) for i, line in enumerate(plan.orders.lines)}


def _axes(view: str) -> FloatArray:
    try:
        return _VIEWS[view]
    except KeyError:
        known = ", ".join(sorted(_VIEWS))
        raise InputError(f"view {view!r} is not known", remedy=f"use one of: {known}") from None


def _box_lines(size: tuple[float, float, float]) -> tuple[FloatArray, NDArray[np.int32]]:
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=np.float64) * size
    ends = [(0, 1), (2, 3), (0, 2), (1, 3), (4, 5), (6, 7), (4, 6), (5, 7), (0, 4), (1, 5), (2, 6), (3, 7)]
    return corners, np.array(ends, dtype=np.int32)


def draw(
    shapes: Iterable[Shape],
    view: View,
    size_px: int,
    frame_mm: tuple[float, float, float] | None = None,
    paper: Colour = _PAPER,
) -> Picture:
    """Draw shapes so that the longer side of the picture has `size_px` pixels.

    `frame_mm` draws the edges of a box from the origin (the chamber up to the top of the cake).
    """
    todo = list(shapes)
    if not todo and frame_mm is None:
        raise InputError("there is nothing to draw", remedy="give at least one shape or a frame")
    axes = _axes(view)
    seen = [(s.mesh.vertices @ (axes @ s.rotation).T + axes @ s.translation) for s in todo]
    corners, ends = _box_lines(frame_mm or (0.0, 0.0, 0.0))
    frame = corners @ axes.T
    everything = np.vstack([*seen, frame] if frame_mm else seen)
    low, high = everything.min(axis=0), everything.max(axis=0)
    extent = np.maximum(high[:2] - low[:2], 1e-6)
    wide = size_px * _OVERSAMPLE
    scale = wide * (1 - 2 * _MARGIN) / float(extent.max())
    pad = wide * _MARGIN
    width, height = (int(np.ceil((extent[i] * scale + 2 * pad) / _OVERSAMPLE)) * _OVERSAMPLE for i in (0, 1))

    def to_pixels(points: FloatArray) -> NDArray[np.float32]:
        out = np.empty(points.shape, dtype=np.float32)
        out[:, 0] = (points[:, 0] - low[0]) * scale + pad
        out[:, 1] = height - pad - (points[:, 1] - low[1]) * scale
        out[:, 2] = points[:, 2]
        return out

    depth = np.full((height, width), -np.inf, dtype=np.float32)
    who = np.full((height, width), EMPTY, dtype=np.int32)
    shade = np.ones((height, width), dtype=np.float32)
    light = (_LIGHT / np.linalg.norm(_LIGHT)).astype(np.float32)
    for i, (shape, points) in enumerate(zip(todo, seen, strict=True)):
        fill_triangles(to_pixels(points), shape.mesh.faces, i, shape.is_closed, depth, who, shade, light)
    if frame_mm:
        draw_lines(to_pixels(frame), ends, depth, who, 0.2)
    edges = outline(depth, who, max(2.0, 6 / scale))
    colours = np.array([*(s.colour for s in todo), _FRAME, paper], dtype=np.float32)  # -2 frame, -1 paper
    pixels = ink(who, shade, edges, colours, np.array(_INK, dtype=np.float32))
    named, counted = _spots(todo, who)
    return Picture(pixels, named, counted, axes, low[:2], scale / _OVERSAMPLE, pad / _OVERSAMPLE)


def _spots(shapes: list[Shape], who: NDArray[np.int32]) -> tuple[dict[str, tuple[float, float]], dict[str, int]]:
    """For each visible shape a spot on it, near the middle of what is seen of it, and how many pixels are seen."""
    h, w = who.shape
    found = spots(who, len(shapes))
    seen = {shape.name: row for shape, row in zip(shapes, found, strict=True) if row[0] > 0}
    named = {name: (float(row[1]) / w, float(row[2]) / h) for name, row in seen.items()}
    return named, {name: int(row[0]) // _OVERSAMPLE**2 for name, row in seen.items()}


def cake_frame(plan: WeekPlan, build: Build) -> tuple[float, float, float]:
    """Inside of the chamber, wall to wall, up to the top of the nest, mm."""
    chamber = plan.cell.chamber_type(build.chamber_type)
    return (chamber.x_mm, chamber.y_mm, build.nest.height_mm)


def piece_shape(plan: WeekPlan, piece: Placement, colour: Colour) -> Shape:
    """A placed piece, ready to draw."""
    part = plan.parts[piece.part_key]
    closed = part.measures.is_watertight and part.measures.is_oriented
    return Shape(piece.piece, part.mesh, colour, piece.rotation, piece.translation, closed)


def nest_drawing(plan: WeekPlan, build: Build, view: View = "corner", size: int = 900) -> Picture:
    """The pieces of a build where they stand, one tint for each order line, in the frame of the cake."""
    tints = line_tints(plan)
    shapes = [piece_shape(plan, p, tints[p.line]) for p in build.nest.placements]
    return draw(shapes, view, size, cake_frame(plan, build))


def nest_picture(plan: WeekPlan, build: Build, view: View = "corner", size: int = 900) -> bytes:
    """`nest_drawing` as a PNG file; `size` is the longer side in pixels."""
    return nest_drawing(plan, build, view, size).png


def part_picture(
    mesh: Mesh, rotation: FloatArray | None = None, view: View = "corner", size: int = 300, colour: Colour | None = None
) -> bytes:
    """One part as a PNG file, turned by `rotation` (3, 3) first."""
    turned = np.eye(3) if rotation is None else np.asarray(rotation, dtype=np.float64)
    return draw([Shape("part", mesh, colour or tint(0), turned)], view, size).png
