"""Which lines share a chamber: proposals by the batching search, judged by real nests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from cakewright.app.cages import Cages
from cakewright.app.choose_batches import Work, choose_batches
from cakewright.app.crew import Crew, results
from cakewright.app.draft_batches import Drafts
from cakewright.app.effort import Effort
from cakewright.app.nest_builds import Nester, nests_of
from cakewright.app.plan_build import Batch, compute_build, left_out_pieces
from cakewright.app.progress import Progress, quiet
from cakewright.model.build import Build, Nest
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import SetAside
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.task import NestPiece


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
    cages: Cages | None = None,
    workers: int = 1,
    crew: Crew | None = None,
) -> tuple[tuple[Build, ...], tuple[SetAside, ...]]:
    """Distribute lines over builds and compute each build.

    Materials never mix. Proposals that do not nest are remembered and the search asked again with what
    the nests taught about packing; pieces still without a place go into a further build of their own.
    Cages printed around loose pieces are kept in `cages` as parts of the plan. `workers` nests are made at a time;
    with a `crew`, nests and builds are worked out by it.
    """
    cages = cages or Cages()
    rotations = {key: orientations_for(part.mesh, part.orientation, seed) for key, part in parts.items()}
    drafts = Drafts(cell, parts, rotations, seed, cages, workers, crew)
    work = Work(cell, parts, part_of_line, rotations, effort, seed, start, progress, drafts)
    batches: list[Batch] = []
    for material in sorted({line.material for line in lines}):
        batches += choose_batches([line for line in lines if line.material == material], work)
    given_up: list[SetAside] = []
    ready: list[tuple[Batch, Nest, dict[str, Part], list[OrderLine], Cell]] = []
    nester = Nester(lines, parts, rotations, cell, effort, seed, cages)
    queue = [
        (batch, placed)
        for batch, (_, placed) in zip(batches, nests_of(batches, nester, workers, progress, crew), strict=True)
    ]
    while queue:
        batch, placed = queue.pop(0)
        batch = replace(batch, key=f"B{len(ready) + 1}")
        rest = left_out_pieces(batch, placed)
        if not placed.placements:
            given_up.append(_too_large(rest[0][0], rest[0][1].reason))
            queue[:0] = [(other, nester.nest(other)) for other in _without(batch, rest[0][0].line)]
            continue
        if rest:
            spilled = _spill(batch, tuple(p for p, _ in rest))
            queue.append((spilled, nester.nest(spilled)))
        of_batch = [line for line in lines if any(p.line == line.line for p in placed.placements)]
        keys = {p.part_key for p in placed.placements}
        of_build = {key: part for key, part in {**parts, **cages.parts}.items() if key in keys}
        ready.append((_only_placed(batch, placed.placements), placed, of_build, of_batch, cell))
    progress("nesting builds", len(ready), len(ready))
    builds = map(compute_build, *zip(*ready, strict=True)) if crew is None else results(crew, compute_build, ready)
    return tuple(builds) if ready else (), tuple(given_up)


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


def _too_large(piece: NestPiece, reason: str) -> SetAside:
    return SetAside(piece.line, reason, "split the part, allow other orientations, or use a larger chamber")
