"""Builds whose prints end just after the shift are nested once more, lower; kept when all pieces find a place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import starmap

from cakewright.app.cages import Cages, caged_lines
from cakewright.app.crew import Crew, results
from cakewright.app.effort import Effort
from cakewright.app.end_in_shift import endings, target_mm
from cakewright.app.line_flags import priority, specimen_lines
from cakewright.app.nest_wishes import wishes_for
from cakewright.app.plan_build import Batch, compute_build, nest_batch
from cakewright.app.progress import Progress, quiet
from cakewright.model.build import Build
from cakewright.model.cell import Cell
from cakewright.model.mesh import FloatArray
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.model.plan import Schedule
from cakewright.nesting.orientations import orientations_for
from cakewright.nesting.task import NestPiece
from cakewright.nesting.wishes import HeightWindow
from cakewright.stopping import Stop


def lowered(
    builds: Sequence[Build],
    schedule: Schedule,
    lines: Sequence[OrderLine],
    parts: Mapping[str, Part],
    part_of_line: Mapping[int, str],
    cell: Cell,
    *,
    effort: Effort,
    seed: int,
    cages: Cages,
    progress: Progress = quiet,
    crew: Crew | None = None,
) -> tuple[Build, ...]:
    """The builds, those just too high for their shift replaced where a lower nest was found.

    The dates must be planned again when anything changed: `lowered(...) != builds`. A `crew` tries them side by side.
    """
    found = endings(builds, schedule, cell)
    targets = {b.key: target for b in builds if (target := target_mm(b, found.get(b.key))) is not None}
    asked = {}
    for build in builds:
        if build.key in targets:
            of_build = [line for line in lines if line.line in build.lines]
            mine = {key: part for key, part in parts.items() if key in {part_of_line[line.line] for line in of_build}}
            at = {line.line: part_of_line[line.line] for line in of_build}
            asked[build.key] = (build, targets[build.key], of_build, mine, at, cell, effort, seed, cages.trial())
    tried = starmap(_nested_lower, asked.values()) if crew is None else results(crew, _nested_lower, [*asked.values()])
    out = []
    for done, build in enumerate(builds):
        if build.key not in asked:
            out.append(build)
            continue
        said = f"{build.key}: {targets[build.key]:.0f} of {build.nest.height_mm:.0f} mm"
        progress("nesting lower", done, len(builds), said)
        lower, made = next(tried)
        cages.parts.update(made)
        out.append(lower or build)
    return tuple(out)


def _nested_lower(
    build: Build, target: float, lines: Sequence[OrderLine], parts: Mapping[str, Part],
    part_of_line: Mapping[int, str], cell: Cell, effort: Effort, seed: int, cages: Cages,
) -> tuple[Build | None, dict[str, Part]]:  # fmt: skip
    """The lower build and its cages, wherever this is called; None when something finds no place."""
    early = {line.line: priority(line) for line in lines}
    pieces = tuple(
        NestPiece(p.piece, p.part_key, p.line, early[p.line]) for p in build.nest.placements if not p.is_cage
    )
    reason = f"{build.reason}; nested lower than {build.nest.height_mm:.0f} mm so that its print ends in the shift"
    caged = caged_lines(lines, parts, part_of_line, cell)
    batch = Batch(build.key, cell.machine(build.machine), pieces, reason, build.line_reasons, caged)
    rotations: dict[str, FloatArray] = {
        key: orientations_for(parts[key].mesh, parts[key].orientation, seed) for key in {p.part_key for p in pieces}
    }
    placed = nest_batch(
        batch,
        parts,
        rotations,
        cell,
        stop=_until_all_stand(effort.nest(), target),
        seed=seed + 1,  # the first seed led to the nest that is too high
        wishes=wishes_for(pieces, parts, cell, windows=[HeightWindow(0.0, target)]),
        arrange_stop=effort.arrange(),
        settle_stop=effort.settle(),
        straight=specimen_lines(lines),
        cages=cages,
        most_mm=target,
    )
    if placed.left_out:
        return None, {}
    return compute_build(batch, placed, {**parts, **cages.parts}, lines, cell), cages.parts


def _until_all_stand(stop: Stop, target_mm: float) -> Stop:
    """Stop as soon as nothing is missing: under a ceiling that is all that was asked."""

    def rule(steps: int, best: float) -> bool:
        return best <= 2 * target_mm or stop(steps, best)

    return rule
