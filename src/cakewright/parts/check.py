"""One part against its order line, its material and its chamber: everything worth saying before planning."""

from __future__ import annotations

from collections.abc import Iterator

from cakewright.findings import Finding, Severity
from cakewright.model.cell import ChamberType, Material
from cakewright.model.mesh import Mesh
from cakewright.model.part import Measures, OrientationRule
from cakewright.parts.features import check_features
from cakewright.parts.fit import best_fit, usable_box
from cakewright.parts.free_space import Pocket, trapped_pockets
from cakewright.parts.limits import limits_of
from cakewright.parts.soundness import check_solid
from cakewright.parts.topology import Topology, shell_volumes, topology_of
from cakewright.parts.units import say_size, sizes_agree
from cakewright.sources import parts as limits
from cakewright.units import MM3_PER_CM3

Size = tuple[float, float, float]
TOLD = 3  # pockets named one by one


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
        own = limits_of(material)
        pockets = _pockets(mesh, topology, own["escape_mm"])
        found += check_features(mesh, topology, own, pockets or (), seed, where)
        found += _trapped_powder(pockets, own["escape_mm"], where)
    return tuple(found)


def _pockets(mesh: Mesh, topology: Topology, opening_mm: float) -> tuple[Pocket, ...] | None:
    """Pockets with openings, but too small ones. Sealed cavities are reported exactly elsewhere and filled here."""
    solid = shell_volumes(mesh, topology) >= 0
    filled = mesh if solid.all() else Mesh(mesh.vertices, mesh.faces[solid[topology.shell_of]])
    return trapped_pockets(filled, opening_mm, smallest_mm3=float(limits.SMALLEST_POCKET))


def _trapped_powder(pockets: tuple[Pocket, ...] | None, opening: float, where: str) -> Iterator[Finding]:
    if pockets is None:
        yield Finding(
            "part.pockets-unknown",
            Severity.NOTE,
            f"the part is too large to look for pockets behind openings of {opening:g} mm",
            where,
            "look for hollow places yourself",
        )
        return
    for n, pocket in enumerate(pockets[:TOLD]):
        more = f" ({len(pockets) - TOLD} more places)" if n == TOLD - 1 and len(pockets) > TOLD else ""
        yield Finding(
            "part.trapped-powder",
            Severity.WARNING,
            f"{pocket.volume_mm3 / MM3_PER_CM3:.2g} cm³ of powder sit behind an opening smaller than "
            f"{opening:g} mm{more}",
            where,
            f"ask for openings of {opening:g} mm, two for each hollow, or plan time to poke the powder out",
            pocket.at_mm,
            pocket.volume_mm3 / MM3_PER_CM3,
            unit="cm³",
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
            value=measures.volume_cm3,
            limit=nominal_cm3,
            unit="cm³",
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
    worst = max(zip(fit.size_mm, room, strict=True), key=lambda pair: pair[0] / pair[1])
    yield Finding(
        "part.too-large",
        Severity.BLOCKING,
        f"larger than chamber {chamber.name} {allowed}: at best {say_size(fit.size_mm)} with shrink factors, "
        f"usable {say_size(room)}",
        where,
        "check the unit; cut the part, use a larger chamber, or allow more orientations",
        None,
        *worst,
        "mm",
    )
