"""Walls too thin or too thick, and gaps that fuse: each region with its place, value and limit."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cakewright.findings import Finding, Severity
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.parts.balls import BallScene
from cakewright.parts.limits import PartLimits
from cakewright.parts.probe import Probe, clusters
from cakewright.parts.topology import Topology, shell_volumes
from cakewright.sources import parts as shares
from cakewright.sources import printability as numbers

NOTCH = 0.5  # a slot keeps its width over nine tenths of its length within this share of the median
TOLD = 3  # places named for one kind of doubt; the rest is counted
Bits = NDArray[np.bool_]
Place = tuple[float, float, float]


def check_walls(probe: Probe, limits: PartLimits, skip: Bits, where: str) -> Iterator[Finding]:
    """Walls thinner than the limit, by the inscribed ball. `skip` marks points judged as something else (letters)."""
    limit = limits["wall_mm"]
    unknown = np.isnan(probe.wall_ray)
    if unknown.mean() > float(shares.UNKNOWN_WALLS):
        yield Finding(
            "mesh.partly-inside-out",
            Severity.WARNING,
            f"behind {unknown.mean():.0%} of the surface no far side is found: it is twisted or crosses itself",
            where,
            "look at the part; join its features in the design program and export it again",
            _place(probe, int(np.flatnonzero(unknown)[0])),
            *_share(unknown, float(shares.UNKNOWN_WALLS)),
        )
    elif unknown.mean() > float(numbers.UNKNOWN_WORTH_SAYING):
        yield Finding(
            "part.wall-unknown",
            Severity.NOTE,
            f"behind {unknown.mean():.0%} of the surface no far side is found: the wall there is unknown, not thick",
            where,
            "look at the part there; a clean export usually helps",
            _place(probe, int(np.flatnonzero(unknown)[0])),
            *_share(unknown, float(numbers.UNKNOWN_WORTH_SAYING)),
        )
    thin = probe.is_parallel & (probe.wall_ball < limit - float(shares.WALL_TOLERANCE_MM)) & ~skip
    # a wall that runs out to nothing is the edge of a wedge: its angle is judged, not its thickness
    regions = [r for r in _regions(probe, thin, probe.wall_ball, limit) if not _runs_out(probe.wall_ball[r])]
    for n, region in enumerate(regions[:TOLD]):
        area = float(probe.share_mm2[region].sum())
        ball, ray = probe.wall_ball[region], probe.wall_ray[region]
        middle = int(region[np.argsort(ball)[len(region) // 2]])
        more = f" ({len(regions) - TOLD} more places)" if n == TOLD - 1 and len(regions) > TOLD else ""
        through = float(np.nanmedian(ray))
        straight = "" if through - np.median(ball) < 0.1 else f", straight through {through:.2f} mm"
        yield Finding(
            "part.thin-wall",
            Severity.WARNING,
            f"a wall of {np.median(ball):.2f} mm{straight} over {_area(area)}; limit {limit:g} mm{more}",
            where,
            "thicken the wall, or agree with the customer that it may break",
            _place(probe, middle),
            float(np.median(ball)),
            limit,
            "mm",
        )


def between_bodies(mesh: Mesh, probe: Probe, topology: Topology) -> Bits:
    """Points (n,) whose far side belongs to another body: where bodies overlap there is no wall, however near it is.

    A cavity is no body: the wall between it and the outside stays a wall.
    """
    faced = np.flatnonzero(probe.wall_at >= 0)
    is_body = shell_volumes(mesh, topology) > 0
    mine, theirs = (topology.shell_of[t] for t in (probe.spots.triangle[faced], probe.wall_at[faced]))
    found = np.zeros(len(probe.wall_at), dtype=bool)
    found[faced] = (mine != theirs) & is_body[mine] & is_body[theirs]
    return found


def check_thick(probe: Probe, balls: BallScene, limits: PartLimits, where: str) -> Iterator[Finding]:
    """The thickest solid place: it holds heat, sinks and yellows."""
    limit = limits["thick_mm"]
    large = np.flatnonzero((probe.wall_at >= 0) & (probe.wall_ball > limit * 1.001))
    if len(large) == 0:
        return
    centres = probe.centres(inside=True)[large]
    room = 2 * balls.clearance(centres)  # walls from the side count as well: a plate is not thick along its length
    thick = float(room.max())
    if thick <= limit * 1.001:
        return
    far = thick > float(numbers.THICK_WARNING) * limit
    x, y, z = (float(v) for v in centres[int(np.argmax(room))])
    yield Finding(
        "part.thick-section",
        Severity.WARNING if far else Severity.NOTE,
        f"solid for {thick:.3g} mm, limit {limit:g} mm: it stays hot for long, may sink, yellow or curl",
        where,
        "hollow it with openings for the powder, or keep thin parts away from it in the build",
        (x, y, z),
        thick,
        limit,
        "mm",
    )


def check_gaps(probe: Probe, topology: Topology, limits: PartLimits, skip: Bits, where: str) -> Iterator[Finding]:
    """Slots in one body, and gaps between bodies that have to move against each other."""
    faced = probe.gap_at >= 0
    other = np.zeros(len(faced), dtype=bool)
    shells = topology.shell_of
    other[faced] = shells[probe.spots.triangle[faced]] != shells[probe.gap_at[faced]]
    yield from _slots(probe, faced & ~other & ~skip, limits["slot_mm"], where)
    yield from _joints(probe, topology, np.flatnonzero(faced & other), limits, where)


def _slots(probe: Probe, faced: Bits, limit: float, where: str) -> Iterator[Finding]:
    narrow = faced & (probe.gap_ball < limit - float(shares.WALL_TOLERANCE_MM))
    regions = [r for r in _regions(probe, narrow, probe.gap_ball, limit) if not _runs_out(probe.gap_ball[r])]
    for n, region in enumerate(regions[:TOLD]):
        gap = probe.gap_ball[region]
        walls = float(np.nanmedian(probe.wall_ball[region])) if np.isfinite(probe.wall_ball[region]).any() else np.nan
        around = f" between walls {walls:.1f} mm thick" if walls > 2 else ""
        more = f" ({len(regions) - TOLD} more places)" if n == TOLD - 1 and len(regions) > TOLD else ""
        yield Finding(
            "part.narrow-gap",
            Severity.WARNING,
            f"a slot of {np.median(gap):.2f} mm{around}; limit {limit:g} mm: it may fuse{more}",
            where,
            "widen the gap, or agree with the customer that it may close",
            _place(probe, int(region[np.argsort(gap)[len(region) // 2]])),
            float(np.median(gap)),
            limit,
            "mm",
        )


def _runs_out(size: FloatArray) -> bool:
    """True where a wall or gap runs out to nothing, as at the edge of a wedge or beside a round boss on a wall."""
    return bool(np.quantile(size, 0.1) < NOTCH * np.median(size))


def _joints(
    probe: Probe, topology: Topology, at: NDArray[np.intp], limits: PartLimits, where: str
) -> Iterator[Finding]:
    shells = topology.shell_of
    mine, theirs = shells[probe.spots.triangle[at]], shells[probe.gap_at[at]]
    pair = np.minimum(mine, theirs).astype(np.int64) * topology.shells + np.maximum(mine, theirs)
    told = 0
    for key in np.unique(pair):
        here = at[pair == key]
        near = here[probe.gap_ball[here] < limits["moving_mm"] - float(shares.WALL_TOLERANCE_MM)]
        facing = float(probe.share_mm2[near].sum()) / 2  # both sides were measured
        is_small = facing < float(numbers.FACING_AREA_SMALL)
        limit = limits["moving_small_mm"] if is_small else limits["moving_mm"]
        near = near[probe.gap_ball[near] < limit - float(shares.WALL_TOLERANCE_MM)]
        if len(near) < 3 or facing < float(numbers.SMALLEST_AREA) / 2:
            continue
        told += 1
        if told > TOLD:
            return
        gap = probe.gap_ball[near]
        yield Finding(
            "part.moving-gap",
            Severity.WARNING,
            f"two bodies face each other at {np.median(gap):.2f} mm over {_area(facing)}; limit {limit:g} mm: "
            "they fuse into one",
            where,
            "give a joint more clearance, or join the bodies if they need not move",
            _place(probe, int(near[np.argsort(gap)[len(near) // 2]])),
            float(np.median(gap)),
            limit,
            "mm",
        )


def _regions(probe: Probe, chosen: Bits, size: FloatArray, limit: float) -> list[NDArray[np.intp]]:
    """Connected groups of chosen points that together are large enough to say, largest area first."""
    index = np.flatnonzero(chosen)
    if probe.share_mm2[index].sum() < float(numbers.SMALLEST_AREA):
        return []
    spacing = np.sqrt(probe.share_mm2[index])
    groups = clusters(probe.spots.at[index], np.maximum(3 * spacing, 2 * limit))
    found = [index[g] for g in groups if len(g) >= 3]
    large = [g for g in found if probe.share_mm2[g].sum() >= float(numbers.SMALLEST_AREA)]
    return sorted(large, key=lambda g: -float(probe.share_mm2[g].sum()))


def _share(unknown: Bits, limit: float) -> tuple[float, float, str]:
    return 100 * float(unknown.mean()), 100 * limit, "% of the surface"


def _place(probe: Probe, spot: int) -> Place:
    x, y, z = (float(v) for v in probe.spots.at[spot])
    return (x, y, z)


def _area(mm2: float) -> str:
    return f"{mm2 / 100:.1f} cm²" if mm2 >= 100 else f"{mm2:.0f} mm²"
