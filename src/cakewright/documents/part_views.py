"""Pictures of places on a part: seen from where the place shows, coloured, ringed and numbered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from cakewright.documents.render import Bytes, Picture, Shape, draw
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.measure import triangle_normals
from cakewright.parts.rays import RayScene

_PART = (0.80, 0.80, 0.78)
_MARKED = (0.80, 0.56, 0.22)
_HERE = (1.0, 0.62, 0.22)  # what the part's grey is multiplied by at the place
_PAPER = 250  # of 255: lighter is paper
_INK = (16, 18, 22)
_WHITE = (255, 255, 255)
_RING = 0.055  # of the picture's longer side
_CLOSER = 3

_FRONT_LEFT = np.array([-0.52, -0.72, 0.46])  # toward the viewer
_BOTH_SIDES = np.array([_FRONT_LEFT, -_FRONT_LEFT])

Place = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Spot:
    """A place to show, with the number it has in the list."""

    number: int
    at_mm: Place


class PartViews:
    """Draws one part again and again; `is_closed` when its far side may be left out."""

    def __init__(self, mesh: Mesh, *, is_closed: bool) -> None:
        self._mesh = mesh
        self._is_closed = is_closed
        self._scene = RayScene(mesh)
        self._middles = mesh.triangles.mean(axis=1)
        self._normals = triangle_normals(mesh)
        self._size = float(mesh.size_mm.max())

    def place(self, spot: Spot, size_px: int = 520) -> Picture:
        """The whole part, turned so that the place is in sight, and beside it the place three times as large.

        Both are coloured, the first is ringed; the close-up shows a third of the part. In the middle of a hole there is
        nothing to see close up: then only the whole part is drawn.
        """
        axes, _ = self.look_at(spot.at_mm)
        large = self._drawn(axes, _CLOSER * size_px)
        near = _tinted(large, spot, _RING / 2)
        height, width = near.pixels.shape[:2]
        x, y = near.where(spot.at_mm)
        left = int(np.clip(x * width - size_px / 2, 0, max(width - size_px, 0)))
        top = int(np.clip(y * height - size_px / 2, 0, max(height - size_px, 0)))
        crop = near.pixels[top : top + size_px, left : left + size_px]
        whole = _ringed(self._drawn(axes, size_px), (spot,), tinted=True)
        if crop.min() > _PAPER:
            return whole
        return replace(whole, pixels=_beside(whole.pixels, crop))

    def is_in_sight(self, at_mm: Place) -> bool:
        """False when no direction shows the place: it lies inside."""
        return self.look_at(at_mm)[1]

    def overview(self, spots: Sequence[Spot], size_px: int = 640) -> Picture:
        """The part from the front left with every place ringed, hidden ones too."""
        return _ringed(self._drawn(_axes_toward(_FRONT_LEFT), size_px), spots)

    def both_sides(
        self, spots: Sequence[Spot], size_px: int = 460, coloured: NDArray[np.bool_] | None = None
    ) -> Picture:
        """From the front left above and from the back right below, each place once, hidden ones (`side_of` 2) nowhere.

        `coloured` (m,) triangles stand out.
        """
        views = []
        for n, way in enumerate(_BOTH_SIDES):
            here = [s for s in spots if self.side_of(s.at_mm) == n]
            views.append(_ringed(self._drawn(_axes_toward(way), size_px, coloured), here))
        return replace(views[0], pixels=_beside(views[0].pixels, views[1].pixels))

    def side_of(self, at_mm: Place) -> int:
        """Which of the pictures of `both_sides` shows a place: 0, 1, or 2 when something hides it from both."""
        score, free = self._liking(at_mm, _BOTH_SIDES / np.linalg.norm(_BOTH_SIDES, axis=1, keepdims=True), np.zeros(3))
        return int(np.argmax(score)) if (free & (score > 0)).any() else len(_BOTH_SIDES)

    def turned(self, rotation: FloatArray, size_px: int = 300) -> Picture:
        """The part as it would stand in the build."""
        return draw([Shape("part", self._mesh, _PART, np.asarray(rotation), is_closed=self._is_closed)], "corner",
                    size_px)  # fmt: skip

    def look_at(self, at_mm: Place) -> tuple[FloatArray, bool]:
        """Axes (right, up, toward the viewer) from which the place is seen, and whether it is seen at all."""
        ways = _directions()
        score, open_ways = self._liking(at_mm, ways, 0.25 * _FRONT_LEFT)
        best = int(np.argmax(score))
        return _axes_toward(ways[best]), bool(open_ways[best])

    def _liking(self, at_mm: Place, ways: FloatArray, bias: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """How well each direction (unit, n x 3) shows a place, and whether nothing of the part is in between."""
        at = np.asarray(at_mm)
        near = int(np.argmin(np.linalg.norm(self._middles - at, axis=1)))
        outward = self._normals[near]
        start = at + 2e-3 * self._size * outward
        free = np.isinf(self._scene.first_hit(np.repeat(start[None], len(ways), axis=0), ways)[0])
        return ways @ (outward + bias) - np.where(free, 0.0, 10.0), free

    def _drawn(self, axes: FloatArray, size_px: int, coloured: NDArray[np.bool_] | None = None) -> Picture:
        """The picture along `axes`: drawn from the front after a turn, then told where points of the part lie."""
        turn = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]).T @ axes
        shapes = [Shape("part", self._mesh, _PART, turn, is_closed=self._is_closed)]
        if coloured is not None and coloured.any():
            parts = ((~coloured, "part", _PART), (coloured, "marked", _MARKED))
            shapes = [
                Shape(name, Mesh(self._mesh.vertices, self._mesh.faces[on]), colour, turn, is_closed=self._is_closed)
                for on, name, colour in parts
                if on.any()
            ]
        return replace(draw(shapes, "front", size_px), axes=axes)


def _directions() -> FloatArray:
    """The 26 directions to the faces, edges and corners of a cube, unit length."""
    ways = np.array([w for w in product((-1.0, 0.0, 1.0), repeat=3) if any(w)])
    return np.asarray(ways / np.linalg.norm(ways, axis=1, keepdims=True))


def _axes_toward(way: FloatArray) -> FloatArray:
    """Rows right, up, toward the viewer; up is +Z, or +Y when looking straight down or up."""
    toward = way / np.linalg.norm(way)
    up = np.array([0.0, 0.0, 1.0]) if abs(toward[2]) < 0.99 else np.array([0.0, 1.0, 0.0])
    right = np.cross(up, toward)
    right /= np.linalg.norm(right)
    return np.array([right, np.cross(toward, right), toward])


def _tinted(picture: Picture, spot: Spot, share: float) -> Picture:
    """The part coloured within a circle about the spot; paper stays white."""
    height, width = picture.pixels.shape[:2]
    x, y = picture.where(spot.at_mm)
    rows, columns = np.ogrid[:height, :width]
    inside = (columns - x * width) ** 2 + (rows - y * height) ** 2 < (share * max(width, height)) ** 2
    part = inside & (picture.pixels.min(axis=2) < _PAPER)
    pixels = picture.pixels.astype(np.float32)
    pixels[part] = pixels[part] * np.array(_HERE, dtype=np.float32)
    return replace(picture, pixels=pixels.astype(np.uint8))


def _beside(left: Bytes, right: Bytes) -> Bytes:
    """Two pictures beside each other on white, with a thin line between."""
    height = max(len(left), len(right))
    gap = 12
    out = np.full((height, left.shape[1] + gap + right.shape[1], 3), 255, dtype=np.uint8)
    top = (height - len(left)) // 2
    out[top : top + len(left), : left.shape[1]] = left
    out[:, left.shape[1] + gap // 2] = 180
    top = (height - len(right)) // 2
    out[top : top + len(right), left.shape[1] + gap :] = right
    return out


def _ringed(picture: Picture, spots: Sequence[Spot], *, tinted: bool = False) -> Picture:
    """Rings with numbers and a pointer from the edge, dark on a white halo: seen on every colour and in grey."""
    scale = 2
    if tinted:
        picture = _tinted(picture, spots[0], _RING)
    height, width = picture.pixels.shape[:2]
    image = Image.fromarray(picture.pixels).resize((width * scale, height * scale), Image.Resampling.BICUBIC)
    pen = ImageDraw.Draw(image)
    long = max(width, height) * scale
    radius = _RING * long
    font = ImageFont.load_default(size=max(12, 0.045 * long))
    for spot in spots:
        x, y = picture.where(spot.at_mm)
        _ring(pen, x * width * scale, y * height * scale, radius, long, str(spot.number), font)
    small = image.resize((width, height), Image.Resampling.LANCZOS)
    return replace(picture, pixels=np.asarray(small, dtype=np.uint8))


def _ring(
    pen: ImageDraw.ImageDraw, x: float, y: float, r: float, long: float, text: str,
    font: ImageFont.FreeTypeFont | ImageFont.ImageFont,
) -> None:  # fmt: skip
    box = (x - r, y - r, x + r, y + r)
    dx, dy = (1.0 if x < long / 2 else -1.0), (1.0 if y < long / 2 else -1.0)
    tip = (x + dx * r * 0.71, y + dy * r * 0.71)
    end = (x + dx * r * 1.9, y + dy * r * 1.9)
    for colour, thick in ((_WHITE, 0.012), (_INK, 0.006)):
        pen.ellipse(box, outline=colour, width=max(2, int(thick * long)))
        pen.line((*tip, *end), fill=colour, width=max(2, int(thick * long)))
    pen.text(end, text, fill=_INK, font=font, anchor="mm", stroke_width=max(2, int(0.012 * long)), stroke_fill=_WHITE)
