"""One part against its order line, its material and its chamber: everything worth saying before planning."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cakewright.findings import Finding, Severity
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import Mesh
from cakewright.model.part import Measures, OrientationRule
from cakewright.parts.fit import best_fit, usable_box
from cakewright.parts.rays import RayScene, spread_spots, wall_by_ray
from cakewright.parts.soundness import check_solid
from cakewright.parts.topology import Topology, topology_of
from cakewright.parts.units import say_size, sizes_agree
from cakewright.sources import parts as limits

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
    return tuple(found)


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
    spots = spread_spots(mesh, int(float(limits.WALL_RAYS)), seed)
    wall = wall_by_ray(mesh, RayScene(mesh), spots)
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
