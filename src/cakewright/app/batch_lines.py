"""What the batching search is told about lines and machines, and what nests teach it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np

from cakewright.app.cages import caged_lines
from cakewright.app.line_flags import priority
from cakewright.app.plan_build import Batch, envelope_mm3, quick_cooling
from cakewright.app.plan_dates import due_by, line_job, released
from cakewright.model.build import LayerProfile, Nest
from cakewright.model.cell import Cell, Machine
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.nesting.task import NestPiece
from cakewright.schedule.batching import BatchLine, BatchSpace, propose_batches, staffed_hours
from cakewright.sources.plan import ENVELOPE_FILL, TYPICAL_DENSITY
from cakewright.stopping import Stop
from cakewright.units import MM3_PER_L

HEIGHTS = 6  # cooling is computed at so many heights and interpolated between


@dataclass(frozen=True, eq=False)
class BatchInput:
    """Lines and machines of one material as the batching search sees them.

    `factor` gives for each line the litres of chamber per litre of envelope, `too_much` the sets of lines
    that a nest has shown not to fit into one chamber.
    """

    lines: tuple[BatchLine, ...]
    spaces: tuple[BatchSpace, ...]
    chambers: int
    pieces: Mapping[int, tuple[NestPiece, ...]]
    factor: Mapping[int, float]
    too_much: tuple[frozenset[int], ...] = field(default=())
    caged: frozenset[int] = frozenset()

    def learn(self, batch: Batch, placed: Nest) -> BatchInput:
        """What a nest of a batch teaches: how high its lines really stand, or that they do not fit."""
        if placed.left_out:
            return replace(self, too_much=(*self.too_much, frozenset(batch.lines)))
        tallest = max(line.min_height_mm for line in self.lines if line.line in batch.lines)
        if placed.height_mm <= tallest * 1.02:  # a single piece sets the height: it teaches nothing about volume
            return self
        count = {n: sum(p.line == n for p in batch.pieces) for n in batch.lines}
        envelope = sum(line.envelope_l * count[line.line] / line.pieces for line in self.lines if line.line in count)
        seen = placed.base_mm[0] * placed.base_mm[1] * placed.height_mm / MM3_PER_L / envelope
        return replace(self, factor={n: seen if n in count else f for n, f in self.factor.items()})


def batch_input(
    lines: Sequence[OrderLine],
    part_of_line: Mapping[int, str],
    parts: Mapping[str, Part],
    rotations: Mapping[str, FloatArray],
    cell: Cell,
) -> BatchInput:
    """Measure the lines of one material and the machines that print it."""
    material = lines[0].material
    machines = cell.machines_for(material)
    of_line = {line.line: parts[part_of_line[line.line]] for line in lines}
    known = tuple(_batch_line(line, of_line[line.line], rotations[part_of_line[line.line]], cell) for line in lines)
    return BatchInput(
        lines=known,
        spaces=tuple(_space(machine, list(of_line.values()), cell) for machine in machines),
        chambers=sum(len(cell.chambers_for(material, t)) for t in {m.chamber_type for m in machines}),
        pieces={line.line: pieces_of(line, part_of_line[line.line]) for line in lines},
        factor={line.line: 1.0 / ENVELOPE_FILL.value for line in lines},
        caged=caged_lines(lines, parts, part_of_line, cell),
    )


def propose(
    known: BatchInput, cell: Cell, *, build_price_h: float, start: datetime, stop: Stop, seed: int
) -> list[Batch]:
    """Batches of one material in the order in which they should start, with their pieces named.

    `build_price_h` is what one more build must save, in weighted hours of lateness.
    """
    proposed = propose_batches(
        known.lines,
        known.spaces,
        known.chambers,
        known.factor,
        build_price_h,
        start=start,
        stop=stop,
        seed=seed,
        hours=staffed_hours(cell, start),
        too_much=known.too_much,
        zone_name=cell.timezone,
    )
    waiting = {number: list(pieces) for number, pieces in known.pieces.items()}
    batches = []
    for n, batch in enumerate(proposed, start=1):
        pieces = [waiting[line].pop(0) for line, count in batch.pieces for _ in range(count)]
        batches.append(
            Batch(f"B{n}", cell.machine(batch.machine), tuple(pieces), batch.reason, batch.line_reasons, known.caged)
        )
    return batches


def pieces_of(line: OrderLine, part_key: str) -> tuple[NestPiece, ...]:
    """One named piece for each ordered one: L07-001 ... for a line of hundreds, L07-1 for a few."""
    width = len(str(line.quantity))
    early = priority(line)
    return tuple(
        NestPiece(f"{line.key}-{n:0{width}d}", part_key, line.line, early) for n in range(1, line.quantity + 1)
    )


def _batch_line(line: OrderLine, part: Part, rotations: FloatArray, cell: Cell) -> BatchLine:
    job = line_job(line, (), cell)
    staffed = sum(step.staffed_min + line.quantity * step.per_piece_s / 60 for step in job.finish.steps)
    return BatchLine(
        line=line.line,
        pieces=line.quantity,
        envelope_l=line.quantity * envelope_mm3(part, cell.nesting.clearance_mm) / MM3_PER_L,
        solid_l=line.quantity * part.measures.volume_mm3 / MM3_PER_L,
        min_height_mm=least_height_mm(part, rotations, cell),
        release=released(line, cell),
        due_by=due_by(line, cell),
        weight=job.weight,
        quality_class=line.quality_class,
        bench_min=staffed + job.inspect_min + job.pack_min,
    )


def least_height_mm(part: Part, rotations: FloatArray, cell: Cell) -> float:
    """The lowest a part can stand in any orientation in which it fits between the walls of a chamber.

    When it fits in none the least height of all is given; the nest then says that it is too large.
    """
    turned = np.einsum("kij,nj->kni", rotations, part.mesh.vertices)
    sizes = turned.max(axis=1) - turned.min(axis=1)
    fits = np.zeros(len(sizes), dtype=bool)
    for chamber in cell.chamber_types:
        room = [chamber.x_mm - 2 * chamber.wall_margin_mm, chamber.y_mm - 2 * chamber.wall_margin_mm]
        fits |= (sizes[:, :2] <= room).all(axis=1)
    return float(sizes[fits, 2].min()) if fits.any() else float(sizes[:, 2].min())


def _space(machine: Machine, parts: Sequence[Part], cell: Cell) -> BatchSpace:
    chamber = cell.chamber_type(machine.chamber_type)
    per_mm_s = machine.recoat_s / machine.layer_mm
    fixed_s = (machine.warm_up_min + machine.end_min) * 60 + (chamber.base_mm + chamber.cover_mm) * per_mm_s
    return BatchSpace(
        machine=machine.name,
        base_x_mm=chamber.x_mm,
        base_y_mm=chamber.y_mm,
        usable_height_mm=chamber.usable_height_mm,
        fixed_h=fixed_s / 3600,
        hours_per_mm=per_mm_s / 3600,
        hours_per_solid_l=scan_hours_per_litre(machine, parts),
        cool_hours=cooling_hours(machine, cell),
    )


def scan_hours_per_litre(machine: Machine, parts: Sequence[Part]) -> float:
    """Laser hours for a litre of these parts.

    Hatching needs volume / (layer x spacing x speed). The outline of a surface cut at random angles is
    pi / 4 x area / layer in all layers together (mean of |sin| over directions of the normal).
    """
    volume = sum(p.measures.volume_mm3 for p in parts)
    area = sum(p.measures.area_mm2 for p in parts)
    hatch_s = volume / (machine.layer_mm * machine.hatch_spacing_mm * machine.hatch_speed_mm_s)
    outline_s = math.pi / 4 * area / machine.layer_mm / machine.contour_speed_mm_s
    return (hatch_s + outline_s) / 3600 / (volume / MM3_PER_L)


def cooling_hours(machine: Machine, cell: Cell) -> Callable[[float], float]:
    """Hours from print end to opening as a function of build height, for a cake of typical density."""
    chamber = cell.chamber_type(machine.chamber_type)
    heights = np.linspace(2 * machine.layer_mm, chamber.usable_height_mm, HEIGHTS)
    hours = []
    for height in heights:
        layers = math.ceil(height / machine.layer_mm)
        area = np.full(layers, chamber.x_mm * chamber.y_mm * TYPICAL_DENSITY.value)
        profile = LayerProfile(machine.layer_mm, area, np.zeros(layers), np.ones(layers, dtype=np.int32))
        hours.append(quick_cooling(profile, machine, cell).opening_s[1] / 3600)
    return lambda height_mm: float(np.interp(height_mm, heights, hours))
