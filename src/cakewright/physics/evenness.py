"""Is the build heated evenly? Jumps of scanned area, crowded zones, and which piece to move where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.build import LayerProfile
from cakewright.model.mesh import FloatArray
from cakewright.physics.grid import SolidGrid
from cakewright.sources import physics as numbers


@dataclass(frozen=True, eq=False)
class Zones:
    """Share of plastic in coarse zones, (nz, ny, nx) 0..1, their edges in chamber mm, and how uneven they are.

    `variation` is standard deviation over mean of the zones.
    """

    share: FloatArray
    edges_mm: tuple[FloatArray, FloatArray, FloatArray]
    variation: float

    def centre_mm(self, zone: tuple[int, int, int]) -> tuple[float, float, float]:
        """Middle of a zone (z, y, x) as chamber (x, y, z)."""
        z, y, x = (float(e[i] + e[i + 1]) / 2 for e, i in zip(self.edges_mm, zone, strict=True))
        return (x, y, z)


@dataclass(frozen=True, slots=True)
class Advice:
    """Move `piece`, the largest in the most crowded zone, towards the emptiest zone."""

    piece: str
    from_mm: tuple[float, float, float]
    to_mm: tuple[float, float, float]
    crowding: float


def area_jumps(profile: LayerProfile, floor_mm2: float) -> list[tuple[float, float]]:
    """(height mm, change mm²) where the scanned area changes by more than `physics.area_jump` of the floor."""
    change = np.diff(profile.area_mm2, prepend=0.0)
    where = np.flatnonzero(np.abs(change) > numbers.AREA_JUMP.value * floor_mm2)
    return [(float(k) * profile.layer_mm, float(change[k])) for k in where]


def zone_cuts(cells: int, per_side: int) -> NDArray[np.int64]:
    """Where cells are cut into at most `per_side` zones, ends included."""
    return np.unique(np.linspace(0, cells, min(per_side, cells) + 1).astype(np.int64))


def zones(solid: SolidGrid, per_side: int = int(numbers.ZONES.value)) -> Zones:
    """Mean share of plastic in `per_side` zones along each side (fewer where there are fewer cells)."""
    share: FloatArray = solid.share
    edges = []
    for axis, (n, size) in enumerate(zip(solid.grid.cells, solid.grid.size_mm, strict=True)):
        cuts = zone_cuts(n, per_side)
        widths = np.diff(cuts).reshape([-1 if a == axis else 1 for a in range(3)])
        share = np.add.reduceat(share, cuts[:-1], axis=axis) / widths
        edges.append(np.asarray(cuts * size - (solid.grid.base_powder_mm if axis == 0 else 0.0), dtype=np.float64))
    mean = float(share.mean())
    return Zones(share, (edges[0], edges[1], edges[2]), float(share.std() / mean) if mean > 0 else 0.0)


def advice(solid: SolidGrid, found: Zones) -> Advice | None:
    """Which piece to move; None when no zone is crowded (`physics.crowded_zone` times the mean)."""
    mean = float(found.share.mean())
    z, y, x = np.unravel_index(int(found.share.argmax()), found.share.shape)
    crowded = (int(z), int(y), int(x))
    crowding = float(found.share[crowded]) / mean if mean > 0 else 0.0
    if crowding <= numbers.CROWDED.value:
        return None
    inside = [_volume_in(solid, i, _span(found, crowded, 0)) for i in range(len(solid.pieces))]
    return Advice(
        piece=solid.pieces[int(np.argmax(inside))],
        from_mm=found.centre_mm(crowded),
        to_mm=found.centre_mm(_emptiest(found)),
        crowding=crowding,
    )


def advice_near(solid: SolidGrid, found: Zones, at_mm: tuple[float, float, float]) -> Advice | None:
    """The piece with most plastic in the zones round a place, and the emptiest zone; None when nothing stands there."""
    zone = [
        int(np.clip(np.searchsorted(edges, v, side="right") - 1, 0, len(edges) - 2))
        for edges, v in zip(found.edges_mm, at_mm[::-1], strict=True)
    ]
    here = (zone[0], zone[1], zone[2])
    inside = [_volume_in(solid, i, _span(found, here, 1)) for i in range(len(solid.pieces))]
    if not inside or max(inside) <= 0:
        return None
    mean = float(found.share.mean())
    crowding = float(found.share[here]) / mean if mean > 0 else 0.0
    return Advice(
        solid.pieces[int(np.argmax(inside))], found.centre_mm(here), found.centre_mm(_emptiest(found)), crowding
    )


def _emptiest(found: Zones) -> tuple[int, int, int]:
    """The zone with least plastic, not one in the base powder: nothing may stand there."""
    low, high = found.edges_mm[0][:-1], found.edges_mm[0][1:]
    room = np.where(((low + high) >= 0)[:, None, None], found.share, np.inf)
    z, y, x = np.unravel_index(int(room.argmin()), room.shape)
    return int(z), int(y), int(x)


def _span(found: Zones, zone: tuple[int, int, int], around: int) -> tuple[tuple[float, float], ...]:
    """Lower and upper mm (z, y, x) of a zone with so many zones around it."""
    out = []
    for edges, i in zip(found.edges_mm, zone, strict=True):
        out.append((float(edges[max(i - around, 0)]), float(edges[min(i + 1 + around, len(edges) - 1)])))
    return tuple(out)


def _volume_in(solid: SolidGrid, piece: int, span: tuple[tuple[float, float], ...]) -> float:
    """mm³ of a piece between lower and upper mm along z, y, x."""
    at = np.unravel_index(solid.cells[piece], solid.grid.cells)
    inside = np.ones(len(solid.cells[piece]), dtype=bool)
    for axis, (low, high) in enumerate(span):
        middle = (at[axis] + 0.5) * solid.grid.size_mm[axis] - (solid.grid.base_powder_mm if axis == 0 else 0.0)
        inside &= (middle >= low) & (middle < high)
    return float(solid.volume_mm3[piece][inside].sum())


def evenness_findings(profile: LayerProfile, solid: SolidGrid, floor_mm2: float) -> list[Finding]:
    """Jumps of area (the largest one) and the most crowded zone with the piece to move."""
    out = []
    jumps = area_jumps(profile, floor_mm2)
    if jumps:
        height, change = max(jumps, key=lambda jump: abs(jump[1]))
        out.append(
            Finding(
                "heat.area-jump",
                Severity.NOTE,
                f"the scanned area changes by {change / 100:+.0f} cm² at {height:.1f} mm ({len(jumps)} such jumps)",
                remedy="tilt or shift flat pieces so that they do not all begin in one layer",
                value=change / 100,
                unit="cm²",
            )
        )
    move = advice(solid, zones(solid))
    if move is not None:
        x, y, z = move.to_mm
        out.append(
            Finding(
                "heat.crowded-zone",
                Severity.NOTE,
                f"{move.crowding:.1f} times the mean plastic around {', '.join(f'{v:.0f}' for v in move.from_mm)} mm",
                where=move.piece,
                remedy=f"move it towards {x:.0f}, {y:.0f}, {z:.0f} mm, where the cake is emptiest",
                at_mm=move.from_mm,
                value=move.crowding,
                unit="times the mean",
            )
        )
    return out
