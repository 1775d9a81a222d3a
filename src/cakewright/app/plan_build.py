"""From the pieces of one batch to a build: nested, verified, sliced, timed, cooled, powder weighed."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cakewright.app.cages import Cages, removal_with_cages
from cakewright.app.heat_build import heat_build
from cakewright.app.hulls import hull_of
from cakewright.errors import CakewrightError
from cakewright.model.build import Build, Cooling, LayerProfile, LeftOut, Nest
from cakewright.model.cell import Cell, ChamberType, Machine
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Freedom, Part
from cakewright.nesting.search import nest
from cakewright.nesting.task import NestPiece, NestSpace, NestTask
from cakewright.nesting.tight import settled
from cakewright.nesting.verify import verify_nest
from cakewright.nesting.wishes import NestWishes
from cakewright.physics.buildtime import print_time
from cakewright.physics.cooling import cool
from cakewright.physics.drawing import drawing_of
from cakewright.physics.layers import layer_profile
from cakewright.powder.balance import powder_need
from cakewright.stopping import Stop
from cakewright.units import MM3_PER_L


@dataclass(frozen=True, eq=False)
class Batch:
    """Pieces that are to share a chamber, with the reason for it; those of lines `caged` in cages."""

    key: str
    machine: Machine
    pieces: tuple[NestPiece, ...]
    reason: str
    line_reasons: tuple[tuple[int, str], ...]
    caged: frozenset[int] = frozenset()

    @property
    def lines(self) -> tuple[int, ...]:
        """The order lines in it, ascending."""
        return tuple(sorted({p.line for p in self.pieces}))


def nest_space(chamber: ChamberType, machine: Machine) -> NestSpace:
    """The room for parts inside a chamber: margins at the walls, base and cover powder left out.

    Smaller by the scale and the outward offset that the build files get, so that what fits here still fits when
    drawn larger.
    """
    m = chamber.wall_margin_mm
    sx, sy, sz = machine.export_scale
    out = drawing_of(machine, chamber).outward_mm
    x, y = 2 * m + (chamber.x_mm - 2 * m) / sx, 2 * m + (chamber.y_mm - 2 * m) / sy
    return NestSpace(x, y, chamber.usable_height_mm / sz - out, m + out)


def drawn_rules(cell: Cell, machine: Machine) -> Cell:
    """The cell with the clearance that keeps the asked gap between pieces as they are drawn for the machine."""
    drawing = drawing_of(machine, cell.chamber_type(machine.chamber_type))
    return replace(cell, nesting=replace(cell.nesting, clearance_mm=drawing.gap_to_nest(cell.nesting.clearance_mm)))


def nest_batch(
    batch: Batch,
    parts: Mapping[str, Part],
    rotations: Mapping[str, FloatArray],
    cell: Cell,
    *,
    stop: Stop,
    seed: int,
    wishes: NestWishes | None = None,
    arrange_stop: Stop | None = None,
    settle_stop: Stop | None = None,
    straight: Collection[int] = (),
    cages: Cages | None = None,
    most_mm: float | None = None,
    workers: int = 1,
    clock: Callable[[], float] = time.monotonic,
) -> Nest:
    """Find a place for every piece of a batch; pieces without one are named in `left_out`.

    Cages that stand in the nest are kept in `cages` as parts. `most_mm` limits the height further than the chamber;
    `workers` threads search at once, on whose number the answer depends. With a `settle_stop` the nest is settled on
    the exact shapes at last (`tight.settled`), pieces turned about the vertical where their rule allows it and
    they are not on one of the lines `straight`.
    """
    began = clock()
    cages = cages or Cages()
    cell = drawn_rules(cell, batch.machine)
    space = nest_space(cell.chamber_type(batch.machine.chamber_type), batch.machine)
    if most_mm is not None:
        space = replace(space, height_mm=min(most_mm, space.height_mm))
    crates = cages.put(batch.pieces, batch.caged, parts, rotations, cell, space)
    keys = {p.part_key for p in batch.pieces} | {r.part_key for r in (wishes.reserved if wishes else ())}
    meshes = {k: parts[k].mesh for k in keys}
    task = NestTask(
        meshes={**meshes, **crates.meshes()},
        pieces=crates.pieces,
        rotations={**{k: rotations[k] for k in keys}, **crates.rotations()},
        space=space,
        clearance_mm=cell.nesting.clearance_mm,
        voxel_mm=cell.nesting.voxel_mm,
        wishes=wishes,
        turning=turning(parts, batch.pieces, straight),
    )
    found = nest(task, stop=stop, seed=seed, arrange_stop=arrange_stop, workers=workers)
    if settle_stop is not None:
        found = settled(task, found, stop=settle_stop)
    placed = crates.opened(found, meshes)
    cages.keep(placed, crates)
    return replace(placed, density=_density(placed, {**parts, **cages.parts}), seconds=clock() - began)


def turning(parts: Mapping[str, Part], pieces: Iterable[NestPiece], straight: Collection[int] = ()) -> frozenset[str]:
    """The parts of some pieces that may stand turned about the vertical by any angle.

    All but those whose orientation is fixed and those with pieces on the lines `straight`.
    """
    pieces = tuple(pieces)
    kept = {p.part_key for p in pieces if p.line in straight}
    free = {p.part_key for p in pieces if parts[p.part_key].orientation.freedom is not Freedom.FIXED}
    return frozenset(free - kept)


def _density(placed: Nest, parts: Mapping[str, Part]) -> float:
    """Solid volume of pieces and cages over platform x height."""
    cake = placed.base_mm[0] * placed.base_mm[1] * placed.height_mm
    solid = sum(parts[p.part_key].measures.volume_mm3 for p in placed.placements)
    return solid / cake if cake > 0 else 0.0


def compute_build(
    batch: Batch, placed: Nest, parts: Mapping[str, Part], lines: Sequence[OrderLine], cell: Cell
) -> Build:
    """Everything that follows from a nest: proof, way out, layers, hours, heat and powder.

    Raises CakewrightError when the exact check finds the clearance or a wall violated: such a nest is a
    mistake of ours and must not reach a machine.
    """
    machine = batch.machine
    chamber = cell.chamber_type(machine.chamber_type)
    material = cell.material(machine.material)
    space = nest_space(chamber, machine)
    meshes = {k: parts[k].mesh for k in {p.part_key for p in placed.placements}}
    verification = verify_nest(meshes, placed.placements, space, placed.clearance_mm, clock=time.monotonic)
    if not verification.is_clear:
        raise CakewrightError(
            f"the exact check found {len(verification.violations)} pairs closer than {placed.clearance_mm:g} mm and "
            f"{len(verification.outside)} pieces over a wall",
            where=f"build {batch.key}",
            remedy="please report this with the order list; plan again with a finer voxel_mm meanwhile",
        )
    way_out = removal_with_cages(meshes, placed.placements, space, voxel_mm=placed.voxel_mm)
    profile = layer_profile(meshes, placed.placements, machine.layer_mm, placed.height_mm)
    hours = print_time(profile, machine, extra_layers_mm=chamber.base_mm + chamber.cover_mm)
    cooling, heat = heat_build(meshes, placed, profile, hours, machine, cell)
    ratio, why = refresh_ratio(lines, cell)
    volume = float(sum(parts[p.part_key].measures.volume_mm3 for p in placed.placements))
    powder = powder_need(
        height_mm=placed.height_mm,
        base_area_mm2=chamber.x_mm * chamber.y_mm,
        base_mm=chamber.base_mm,
        cover_mm=chamber.cover_mm,
        parts_volume_mm3=volume,
        material=material,
        overflow_fraction=machine.feed_overflow_fraction,
        dead_kg=machine.dead_powder_kg,
        refresh_ratio=ratio,
        refresh_reason=why,
    )
    return Build(
        key=batch.key,
        material=material.name,
        machine=machine.name,
        chamber_type=chamber.name,
        lines=batch.lines,
        nest=placed,
        verification=verification,
        removal=way_out,
        profile=profile,
        print_time=hours,
        cooling=cooling,
        powder=powder,
        reason=batch.reason,
        line_reasons=batch.line_reasons,
        heat=heat,
    )


def quick_cooling(profile: LayerProfile, machine: Machine, cell: Cell) -> Cooling:
    """Cooling as a block that starts hot all through: late, but at once. For choosing, not for people."""
    chamber = cell.chamber_type(machine.chamber_type)
    return cool(
        profile,
        print_time(profile, machine),
        base_mm=(chamber.x_mm, chamber.y_mm),
        base_powder_mm=chamber.base_mm,
        cover_powder_mm=chamber.cover_mm,
        material=cell.material(machine.material),
        chamber_type=chamber,
        room_c=cell.room_c,
    )


def refresh_ratio(lines: Sequence[OrderLine], cell: Cell) -> tuple[float, str]:
    """The refresh ratio of a mixed build is that of its most demanding class, with the reason in words."""
    demanding = max(lines, key=lambda line: cell.quality_class(line.quality_class).refresh_ratio)
    ratio = cell.quality_class(demanding.quality_class).refresh_ratio
    same = [line.line for line in lines if cell.quality_class(line.quality_class).refresh_ratio == ratio]
    shown = ", ".join(str(n) for n in same[:4]) + (" ..." if len(same) > 4 else "")
    return ratio, f"class {demanding.quality_class} asks for {ratio:.0%} (line {shown})"


def left_out_pieces(batch: Batch, placed: Nest) -> tuple[tuple[NestPiece, LeftOut], ...]:
    """The pieces of a batch that found no place, with what the nest said about each."""
    said = {left.piece: left for left in placed.left_out}
    return tuple((p, said[p.piece]) for p in batch.pieces if p.piece in said)


def envelope_mm3(part: Part, clearance_mm: float) -> float:
    """Room one piece takes: its convex hull grown by half the clearance on every side.

    First-order growth (volume + area x distance), good for clearances small against the part.
    """
    hull = hull_of(part.mesh)
    if hull is None:
        size = np.asarray(part.measures.size_mm) + clearance_mm
        return float(np.prod(size))
    return float(hull.volume + hull.area * clearance_mm / 2)


def bulk_litres(
    lines: Sequence[OrderLine], parts: Mapping[str, Part], part_of_line: Mapping[int, str], clearance_mm: float
) -> dict[int, float]:
    """Litres that the pieces of each line take in a basket or bath: their envelopes, loosely side by side."""
    return {
        line.line: line.quantity * envelope_mm3(parts[part_of_line[line.line]], clearance_mm) / MM3_PER_L
        for line in lines
    }
