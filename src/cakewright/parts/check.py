"""One part against its order line, its material and its chamber: everything worth saying before planning."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cakewright.findings import Finding, Severity
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Measures, OrientationRule
from cakewright.parts.fit import best_fit, usable_box
from cakewright.parts.free_space import trapped_pockets
from cakewright.parts.rays import RayScene, Spots, gap_by_ray, spread_spots, wall_by_ray
from cakewright.parts.soundness import check_solid
from cakewright.parts.topology import Topology, shell_volumes, topology_of
from cakewright.parts.units import say_size, sizes_agree
from cakewright.sources import parts as limits
from cakewright.units import MM3_PER_CM3

Size = tuple[float, float, float]


def check_part(
    mesh: Mesh,
    measures: Measures,
    *,
    where: str,
    material: Material,
    chamber_type: ChamberType,
    rule: OrientationRule | None = None,
    nominal_size_mm: Size | None = None,
    nominal_volume_cm3: float | None = None,
    seed: int = 1,
    topology: Topology | None = None,
) -> tuple[Finding, ...]:
    """Check a part in mm; findings in the order a person would ask: solid? right size? fits? printable?"""
    topology = topology or topology_of(mesh)
    found = list(check_solid(mesh, measures, topology, where))
    found += _against_order(measures, nominal_size_mm, nominal_volume_cm3, where)
    found += _against_chamber(mesh, rule or OrientationRule(), material, chamber_type, seed, where)
    if measures.is_watertight and measures.is_oriented and measures.volume_mm3 > 0:
        found += _thin_walls(mesh, material.minimum_wall_mm, seed, where)
        found += _trapped_powder(mesh, topology, where)
    return tuple(found)


def _trapped_powder(mesh: Mesh, topology: Topology, where: str) -> Iterator[Finding]:
    """Pockets with openings, but too small ones. Sealed cavities are reported exactly elsewhere and filled here."""
    solid = shell_volumes(mesh, topology) >= 0
    filled = mesh if solid.all() else Mesh(mesh.vertices, mesh.faces[solid[topology.shell_of]])
    opening = float(limits.ESCAPE_OPENING)
    pockets = trapped_pockets(filled, opening, smallest_mm3=float(limits.SMALLEST_POCKET))
    if pockets is None:
        yield Finding(
            "part.pockets-unknown",
            Severity.NOTE,
            f"the part is too large to look for pockets behind openings of {opening:g} mm",
            where,
            "look for hollow places yourself",
        )
        return
    if pockets:
        total = sum(pocket.volume_mm3 for pocket in pockets)
        yield Finding(
            "part.trapped-powder",
            Severity.WARNING,
            f"{total / MM3_PER_CM3:.2g} cm³ of powder sit behind openings smaller than {opening:g} mm, "
            f"in {len(pockets)} {'place' if len(pockets) == 1 else 'places'}",
            where,
            f"ask for openings of {opening:g} mm, two for each hollow, or plan time to poke the powder out",
            pockets[0].at_mm,
        )


def _against_order(
    measures: Measures, nominal_size: Size | None, nominal_cm3: float | None, where: str
) -> Iterator[Finding]:
    if nominal_size is not None and not sizes_agree(measures.size_mm, nominal_size):
        yield Finding(
            "part.size-differs",
            Severity.WARNING,
            f"the part measures {say_size(measures.size_mm)}, the order line says {say_size(nominal_size)}",
            where,
            "ask whether file, unit or order line is wrong before planning it",
        )
    if nominal_cm3 is None or not measures.is_watertight:
        return
    if abs(measures.volume_cm3 - nominal_cm3) > float(limits.VOLUME_AGREES) * nominal_cm3:
        yield Finding(
            "part.volume-differs",
            Severity.WARNING,
            f"the part has {measures.volume_cm3:.4g} cm³, the order line says {nominal_cm3:.4g} cm³",
            where,
            "ask whether it is the right file and revision",
        )


def _against_chamber(
    mesh: Mesh, rule: OrientationRule, material: Material, chamber: ChamberType, seed: int, where: str
) -> Iterator[Finding]:
    room = usable_box(chamber)
    fit = best_fit(mesh, room, rule, seed, material.shrink_factor)
    if fit.is_possible:
        return
    allowed = (
        "in every orientation" if rule.freedom.value == "free" else f"when turned as allowed ({rule.freedom.value})"
    )
    yield Finding(
        "part.too-large",
        Severity.BLOCKING,
        f"larger than chamber {chamber.name} {allowed}: at best {say_size(fit.size_mm)} with shrink factors, "
        f"usable {say_size(room)}",
        where,
        "check the unit; cut the part, use a larger chamber, or allow more orientations",
    )


def _thin_walls(mesh: Mesh, minimum_mm: float, seed: int, where: str) -> Iterator[Finding]:
    spots, scene = spread_spots(mesh, int(float(limits.WALL_RAYS)), seed), RayScene(mesh)
    wall = wall_by_ray(mesh, scene, spots)
    yield from _narrow_gaps(gap_by_ray(mesh, scene, spots), spots, where)
    unknown = np.isnan(wall)
    if unknown.mean() > float(limits.UNKNOWN_WALLS):
        x, y, z = (float(v) for v in spots.at[np.flatnonzero(unknown)[0]])
        yield Finding(
            "mesh.partly-inside-out",
            Severity.WARNING,
            f"behind {unknown.mean():.0%} of the surface no far side is found: it is twisted or crosses itself",
            where,
            "look at the part; join its features in the design program and export it again",
            (x, y, z),
        )
    thin = np.flatnonzero(wall < minimum_mm - float(limits.WALL_TOLERANCE_MM))
    share = len(thin) / len(wall)
    if share <= float(limits.WALL_SHARE):
        return
    # the middle one: the thinnest ray is often a knife edge, not the wall
    place = thin[np.argsort(wall[thin])[len(thin) // 2]]
    x, y, z = (float(v) for v in spots.at[place])
    yield Finding(
        "part.thin-wall",
        Severity.WARNING,
        f"{share:.0%} of the surface has less than {minimum_mm:g} mm behind it, for example {wall[place]:.2f} mm",
        where,
        "thicken the wall, or agree with the customer that it may break",
        (x, y, z),
    )


def _narrow_gaps(gap: FloatArray, spots: Spots, where: str) -> Iterator[Finding]:
    smallest = float(limits.SMALLEST_GAP)
    narrow = np.flatnonzero(gap < smallest)
    if len(narrow) <= float(limits.WALL_SHARE) * len(gap):
        return
    place = narrow[np.argsort(gap[narrow])[len(narrow) // 2]]
    x, y, z = (float(v) for v in spots.at[place])
    yield Finding(
        "part.narrow-gap",
        Severity.WARNING,
        f"{len(narrow) / len(gap):.0%} of the surface faces another wall nearer than {smallest:g} mm, "
        f"for example {gap[place]:.2f} mm: such gaps may fuse",
        where,
        "widen the gap, or agree with the customer that it may close",
        (x, y, z),
    )
