"""The large faces of a part as a report shows them: numbered from two sides, those that must look good coloured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.documents.part_views import PartViews, Spot
from cakewright.documents.render import Picture
from cakewright.documents.sections import Block, heading, table, words
from cakewright.documents.sheet import picture_svg
from cakewright.model.mesh import Mesh
from cakewright.parts.faces import Face, Place, faces_of, on_faces

SIDES = 2  # pictures of a part with its faces
_STRAIGHT = 0.9  # of the whole: looks along an axis
_ROUND = 0.5  # less: the face goes round


@dataclass(frozen=True, eq=False)
class FacesShown:
    """`listed` the largest faces; `marked` the numbers of those that must look good; `on` (m,) their triangles."""

    listed: tuple[Face, ...] = ()
    marked: tuple[int, ...] = ()
    on: NDArray[np.bool_] | None = None

    @property
    def said(self) -> str:
        """What was marked, in one sentence."""
        if not self.marked:
            return (
                "No face was marked: steps of the layers count alike on all. Say which of these numbers must look good "
                "and the part will be stood so that they do."
            )
        numbers = ", ".join(map(str, self.marked))
        one = len(self.marked) == 1
        return (
            f"{'Face' if one else 'Faces'} {numbers} must look good (coloured): steps of the layers were counted on "
            f"{'it' if one else 'them'} only when ways up were compared."
        )

    def words_of(self, face: Face) -> str:
        """'towards +X, 12.0 cm²', and that it must look good."""
        said = f"{looks_where(face)}, {face.area_mm2 / 100:.1f} cm²"
        return f"{said}, must look good" if face.number in self.marked else said

    def key(self, views: PartViews) -> tuple[tuple[int, str, bool], ...]:
        """Number, words and whether it is marked, for each listed face; the picture shows those that can be seen."""
        return tuple(
            (
                f.number,
                self.words_of(f) + ("" if views.side_of(f.at_mm) < SIDES else ", not to be seen from these two sides"),
                f.number in self.marked,
            )
            for f in self.listed
        )

    def picture(self, views: PartViews) -> Picture:
        """The part from the front left above and from the back right below, the faces numbered."""
        return views.both_sides([Spot(f.number, f.at_mm) for f in self.listed], coloured=self.on)

    def blocks(self, views: PartViews) -> Sequence[Block]:
        """The section on paper."""
        key = "\n".join(f"{n}{' ★' if is_marked else ''} {said}" for n, said, is_marked in self.key(views))
        drawn = {"svg": picture_svg(self.picture(views)), "mm": 110}
        return heading("Faces"), words(self.said), table((("From both sides", "auto"), ("", "1fr")), [[drawn, key]])


NO_FACES = FacesShown()


def shown_faces(mesh: Mesh, places: Sequence[Place] = ()) -> FacesShown:
    """The faces of a part with those at `places` (mm, file coordinates) marked."""
    listed = faces_of(mesh)
    if not places:
        return FacesShown(listed)
    on = on_faces(mesh, places)
    return FacesShown(listed, numbers_on(mesh, listed, on), on)


def numbers_on(mesh: Mesh, listed: Sequence[Face], on: NDArray[np.bool_]) -> tuple[int, ...]:
    """The numbers of the listed faces whose triangles are in `on` (m,)."""
    middles = mesh.triangles.mean(axis=1)
    near = [int(((middles - f.at_mm) ** 2).sum(axis=1).argmin()) for f in listed]
    return tuple(f.number for f, triangle in zip(listed, near, strict=True) if on[triangle])


def looks_where(face: Face) -> str:
    """In words where a face looks: 'up', 'towards −X', 'all round'."""
    length = sum(v * v for v in face.looks) ** 0.5
    if length < _ROUND:
        return "all round"
    axis = max(range(3), key=lambda i: abs(face.looks[i]))
    if abs(face.looks[axis]) < _STRAIGHT * length:
        return "aslant"
    return f"towards {'+' if face.looks[axis] > 0 else '−'}{'XYZ'[axis]}"
