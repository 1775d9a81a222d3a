"""Which lines share a chamber: proposals by the batching search, judged by real nests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from cakewright.app.batch_lines import batch_input, propose
from cakewright.app.effort import Effort
from cakewright.app.plan_build import Batch, compute_build, left_out_pieces, nest_batch
from cakewright.app.progress import Progress, quiet
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import SetAside
from cakewright.nesting.task import NestPiece
from cakewright.parts.orient import candidate_rotations
from cakewright.stopping import MaxSteps

ROUNDS = 6  # proposals a material may need before the rest simply goes into further builds
LEARNING_ROUNDS = 2  # the first proposal knows nothing about these parts: its nests correct the heights of the second


@dataclass(eq=False)
class _Work:
    """What stays the same while one material's builds are found."""

    cell: Cell
    parts: Mapping[str, Part]
    rotations: Mapping[str, FloatArray]
    effort: Effort
    seed: int
    start: datetime
    progress: Progress
    findings: list[SetAside] = field(default_factory=list)


def plan_builds(
    lines: Sequence[OrderLine],
    parts: Mapping[str, Part],
    part_of_line: Mapping[int, str],
    cell: Cell,
    *,
    start: datetime,
    effort: Effort,
    seed: int,
    progress: Progress = quiet,
) -> tuple[tuple[Build, ...], tuple[SetAside, ...]]:
    """Distribute lines over builds and compute each build.

    Materials never mix. Proposals that do not nest are remembered and the search asked again with what
    the nests taught about packing; pieces still without a place go into a further build of their own.
    """
    rotations = {key: candidate_rotations(part.mesh, part.orientation, seed) for key, part in parts.items()}
    work = _Work(cell, parts, rotations, effort, seed, start, progress)
    batches: list[Batch] = []
    for material in sorted({line.material for line in lines}):
        mine = [line for line in lines if line.material == material]
        batches += _batches_of_material(mine, part_of_line, work)
    builds: list[Build] = []
    queue = list(batches)
    while queue:
        batch = replace(queue.pop(0), key=f"B{len(builds) + 1}")
        progress(
            "nesting builds", len(builds), len(builds) + 1 + len(queue), f"{batch.key}: {len(batch.pieces)} pieces"
        )
        placed = nest_batch(batch, parts, rotations, cell, stop=effort.nest(), seed=seed)
        rest = left_out_pieces(batch, placed)
        if not placed.placements:
            _give_up(rest[0][0], rest[0][1].reason, work)
            queue[:0] = _without(batch, rest[0][0].line)
            continue
        if rest:
            queue.append(_spill(batch, tuple(p for p, _ in rest)))
        of_batch = [line for line in lines if any(p.line == line.line for p in placed.placements)]
        builds.append(compute_build(_only_placed(batch, placed.placements), placed, parts, of_batch, cell))
    progress("nesting builds", len(builds), len(builds))
    return tuple(builds), tuple(work.findings)


def _batches_of_material(lines: Sequence[OrderLine], part_of_line: Mapping[int, str], work: _Work) -> list[Batch]:
    """Propose, try with quick nests, learn, propose again until every batch fits its chamber."""
    known = batch_input(lines, part_of_line, work.parts, work.rotations, work.cell)
    batches: list[Batch] = []
    for attempt in range(1, ROUNDS + 1):
        batches = propose(known, work.cell, start=work.start, stop=work.effort.batching(), seed=work.seed)
        fits = True
        for done, batch in enumerate(batches):
            note = f"round {attempt}: lines {', '.join(str(n) for n in batch.lines)}"
            work.progress("trying batches", done, len(batches), note)
            placed = nest_batch(batch, work.parts, work.rotations, work.cell, stop=MaxSteps(0), seed=work.seed)
            known = known.learn(batch, placed)
            fits &= not placed.left_out
        work.progress("trying batches", len(batches), len(batches))
        if fits and attempt >= LEARNING_ROUNDS:
            break
    return batches


def _spill(batch: Batch, pieces: tuple[NestPiece, ...]) -> Batch:
    lines = sorted({p.line for p in pieces})
    reason = f"holds what found no place in {batch.key}: line {', '.join(map(str, lines))}"
    return replace(batch, pieces=pieces, reason=reason, line_reasons=tuple((n, reason) for n in lines))


def _only_placed(batch: Batch, placements: Sequence[object]) -> Batch:
    placed = {p.piece for p in placements}  # type: ignore[attr-defined]
    kept = tuple(p for p in batch.pieces if p.piece in placed)
    lines = {p.line for p in kept}
    return replace(batch, pieces=kept, line_reasons=tuple(r for r in batch.line_reasons if r[0] in lines))


def _without(batch: Batch, line: int) -> list[Batch]:
    kept = tuple(p for p in batch.pieces if p.line != line)
    return [replace(batch, pieces=kept)] if kept else []


def _give_up(piece: NestPiece, reason: str, work: _Work) -> None:
    remedy = "split the part, allow other orientations, or use a larger chamber"
    work.findings.append(SetAside(piece.line, reason, remedy))
