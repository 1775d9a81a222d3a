"""Which part is this: what is still missing from a build, against scale, callipers and the place in the cake."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from cakewright.documents.bands import surface_mm
from cakewright.documents.words import piece_mass_g
from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.plan import WeekPlan
from cakewright.parts.signature import look_alikes, signature
from cakewright.quality.identify import Candidate, Match, identify, most_on_scale, trapped_powder_g
from cakewright.sources.floor import DEPTH_SLACK_MM
from cakewright.store import PieceRecord, PieceState, last_words


@dataclass(frozen=True, slots=True)
class Likely:
    """A line that the piece may belong to: probability, what to look at, which of its pieces are still missing."""

    line: int
    probability: float
    worst_sigma: float
    note: str
    mass_g: float
    sizes_mm: tuple[float, float, float]
    pieces: tuple[str, ...]
    twin: int | None


def likely_lines(
    plan: WeekPlan,
    build: Build,
    records: tuple[PieceRecord, ...],
    *,
    mass_g: float | None = None,
    sizes_mm: Sequence[float] = (),
    depth_mm: float | None = None,
    scale_g: float = 0.05,
) -> tuple[Likely, ...]:
    """Lines of a build by probability, from a mass, one to three sizes and how deep in the cake it lay.

    Only pieces that nobody has found yet count. `depth_mm` is measured from the surface of the cake down and
    keeps the pieces that reach within the slack of it. InputError when nothing is given or nothing is missing.
    """
    if mass_g is None and not sizes_mm and depth_mm is None:
        raise InputError("nothing is measured", remedy="weigh it, measure one size, or say how deep it lay")
    said = last_words(records)
    found = {piece for piece, record in said.items() if record.state is not PieceState.MISSING}
    missing = [p for p in build.ordered if p.piece not in found]
    if depth_mm is not None:
        missing = [p for p in missing if _reaches(p, surface_mm(plan, build) - depth_mm)]
    if not missing:
        raise InputError(
            "no piece is missing there any more", remedy="check the depth and the count: it may be a surplus piece"
        )
    of_line: dict[int, list[Placement]] = {}
    for piece in missing:
        of_line.setdefault(piece.line, []).append(piece)
    twins = mirror_twins(plan, build)
    candidates = [_candidate(plan, line, len(pieces), twins.get(line)) for line, pieces in of_line.items()]
    if mass_g is None and not sizes_mm:
        matches = tuple(Match(c.key, c.missing / len(missing), 0.0) for c in candidates)
        matches = tuple(sorted(matches, key=lambda m: -m.probability))
    else:
        matches = identify(candidates, mass_g=mass_g, sizes_mm=tuple(sizes_mm), scale_g=scale_g)
    return tuple(_likely(plan, m, of_line, twins) for m in matches)


def mirror_twins(plan: WeekPlan, build: Build) -> dict[int, int]:
    """Lines of a build whose parts are mirror images of each other, both ways."""
    lines = {plan.part_of_line[n]: n for n in build.lines if n in plan.part_of_line}
    signatures = {key: signature(plan.parts[key].mesh) for key in lines}
    found: dict[int, int] = {}
    for pair in look_alikes(signatures):
        if pair.kind == "mirror":
            a, b = lines[pair.first], lines[pair.second]
            found |= {a: b, b: a}
    return found


def _reaches(piece: Placement, z_mm: float) -> bool:
    return piece.z_min_mm - DEPTH_SLACK_MM.value <= z_mm <= piece.z_max_mm + DEPTH_SLACK_MM.value


def _candidate(plan: WeekPlan, line: int, missing: int, twin: int | None) -> Candidate:
    sizes = edges_mm(plan, line)
    return Candidate(str(line), mass_g_of(plan, line), sizes, missing, None if twin is None else str(twin))


def mass_g_of(plan: WeekPlan, line: int) -> float:
    """Expected mass of one piece of a line: volume times sintered density."""
    mass = piece_mass_g(plan, plan.line(line))
    assert mass is not None  # a line in a build has a part
    return mass


def edges_mm(plan: WeekPlan, line: int) -> tuple[float, float, float]:
    """The edges of the box around a part as it lies in its file, longest first: what callipers find."""
    size = sorted((float(v) for v in np.asarray(plan.parts[plan.part_of_line[line]].measures.size_mm)), reverse=True)
    return size[0], size[1], size[2]


def _likely(plan: WeekPlan, match: Match, of_line: Mapping[int, list[Placement]], twins: Mapping[int, int]) -> Likely:
    line = int(match.key)
    top_first = sorted(of_line[line], key=lambda p: -p.z_max_mm)
    twin = (
        ""
        if line not in twins
        else (f"mirrored twin of L{twins[line]:02d}: scale and callipers cannot tell them apart, look at the picture")
    )
    doubt = "" if match.note.startswith("mirrored twin") else match.note
    note = "; ".join(text for text in (twin, doubt) if text)
    return Likely(
        line,
        match.probability,
        match.worst_sigma,
        note,
        mass_g_of(plan, line),
        edges_mm(plan, line),
        tuple(p.piece for p in top_first),
        twins.get(line),
    )


__all__ = [
    "Likely", "edges_mm", "likely_lines", "mass_g_of", "mirror_twins", "most_on_scale",
    "trapped_powder_g",
]  # fmt: skip
