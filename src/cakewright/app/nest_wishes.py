"""What the order lines of a batch and the cell ask of its nest beyond the height."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from cakewright.model.cell import Cell, NestingRules
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Part
from cakewright.nesting.task import NestPiece, NestSpace
from cakewright.nesting.wishes import HeightWindow, NestWishes, ReservedPlace, Weights
from cakewright.parts.signature import Signature, look_alikes, signature
from cakewright.sources.wishes import THICK_FROM


@lru_cache(maxsize=1024)
def _signature(mesh: Mesh) -> Signature:
    return signature(mesh)


def wishes_for(
    pieces: Sequence[NestPiece],
    parts: Mapping[str, Part],
    cell: Cell,
    *,
    windows: Sequence[HeightWindow] = (),
    reserved: Sequence[ReservedPlace] = (),
) -> NestWishes:
    """Wishes for the pieces of one build.

    Delicate parts are not wanted under heavier ones, lines that callipers and a scale cannot separate are
    wanted apart, the pieces of a line together; thick parts get more room when the cell asks for it.
    """
    keys = sorted({p.part_key for p in pieces})
    return NestWishes(
        weights=weights_of(cell.nesting),
        extra_mm={k: extra for k in keys if (extra := thick_extra_mm(parts[k], cell)) > 0},
        windows=tuple(windows),
        fragile=frozenset(k for k in keys if parts[k].is_delicate),
        apart=_alike_lines(pieces, parts),
        reserved=tuple(reserved),
    )


def weights_of(rules: NestingRules) -> Weights:
    """What the cell says the wishes are worth; clearance, ways out and places for specimens are never traded."""
    return Weights(
        end=rules.end_weight,
        evenness=rules.even_area_weight,
        crowding=rules.crowding_weight,
        early=rules.early_weight,
        fragile=rules.fragile_weight,
        together=rules.together_weight,
        apart=rules.apart_weight,
    )


def thick_extra_mm(part: Part, cell: Cell) -> float:
    """What a part adds to the clearance beside another thick one; 0 for parts that are not thick."""
    more = max(0.0, cell.nesting.thick_clearance_mm - cell.nesting.clearance_mm)
    thickness = 2 * part.measures.volume_mm3 / part.measures.area_mm2 if part.measures.area_mm2 > 0 else 0.0
    return more if thickness >= THICK_FROM.value else 0.0


def _alike_lines(pieces: Sequence[NestPiece], parts: Mapping[str, Part]) -> tuple[frozenset[int], ...]:
    """Groups of lines of a build that look alike, each line in at most one group."""
    line_of = {p.part_key: p.line for p in pieces}
    group: dict[int, set[int]] = {}
    for pair in look_alikes({key: _signature(parts[key].mesh) for key in line_of}):
        if pair.kind == "same":  # may be mixed unless somebody says otherwise
            continue
        a, b = line_of[pair.first], line_of[pair.second]
        joined = group.get(a, {a}) | group.get(b, {b})
        for n in joined:
            group[n] = joined
    return tuple(sorted({frozenset(g) for g in group.values()}, key=min))


def witness_places(
    pieces: Sequence[NestPiece],
    meshes: Mapping[str, Mesh],
    rotations: Mapping[str, FloatArray],
    space: NestSpace,
    height_mm: float,
) -> tuple[ReservedPlace, ...]:
    """Places for test specimens spread evenly from the floor to `height_mm`, by turns front left and back right.

    Each stands along the wall in the lowest of its allowed orientations that fits. Empty when they would
    overlap or one does not fit: then they are nested like any other piece.
    """  # fmt: skip
    low, high = space.box_mm
    out: list[ReservedPlace] = []
    for n, piece in enumerate(pieces):
        turned = np.einsum("kij,nj->kni", rotations[piece.part_key], meshes[piece.part_key].vertices)
        sizes = np.ptp(turned, axis=1)
        room = np.array([*(high - low)[:2], max(height_mm, 0.0)])
        fits = np.flatnonzero((sizes <= room + 1e-6).all(axis=1))
        if not len(fits):
            return ()
        size = sizes[fits[np.argmin(sizes[fits, 2])]] + 1e-6
        share = n / max(1, len(pieces) - 1)
        corner = np.array(low if n % 2 == 0 else [*(high - size)[:2], 0.0])
        corner[2] = share * (height_mm - size[2])
        end = corner + size
        out.append(
            ReservedPlace(
                piece.piece,
                (float(corner[0]), float(corner[1]), float(max(0.0, corner[2]))),
                (float(end[0]), float(end[1]), float(max(size[2], end[2]))),
                piece.part_key,
                piece.line,
            )
        )
    overlap = any(
        (np.array(a.low_mm) < np.array(b.high_mm)).all() and (np.array(a.high_mm) > np.array(b.low_mm)).all()
        for i, a in enumerate(out)
        for b in out[:i]
    )
    return () if overlap else tuple(out)
