"""Which lines of an order list will be hard to tell apart on the bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from cakewright.findings import Finding, Severity
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.parts.marks import marks_for
from cakewright.parts.signature import LookAlike, look_alikes, signature

REMEDY = {
    "mirror": "mark one of the pair (flag 'mark' or 'mark dots' on its line), and lay them on separate trays; "
    "a scale cannot tell mirror twins apart",
    "near": "mark one of them (flag 'mark' or 'mark dots') or lay them on separate trays before blasting",
    "same": "they are the same shape: agree whether they may be mixed, otherwise mark one of them (flag 'mark')",
}


def look_alike_findings(parts: Mapping[str, Part], lines: Mapping[str, OrderLine]) -> tuple[Finding, ...]:
    """A warning for each pair of lines that callipers and a scale cannot separate; `lines` by part key."""
    shapes = {part.mesh.sha256: part.mesh for part in parts.values()}
    known = {sha256: signature(mesh) for sha256, mesh in shapes.items()}
    pairs = look_alikes({key: known[part.mesh.sha256] for key, part in parts.items()})
    return (*_pair_findings(pairs, lines), *_marks(pairs, lines))


def _marks(pairs: tuple[LookAlike, ...], lines: Mapping[str, OrderLine]) -> Iterator[Finding]:
    """How many different marks keep all of them apart, and which line gets which."""
    marks = marks_for(pairs)
    if not marks:
        return
    groups: dict[int, list[int]] = {}
    for key, mark in sorted(marks.items(), key=lambda pair: lines[pair[0]].line):
        groups.setdefault(mark, []).append(lines[key].line)
    said = "; ".join(f"mark {m + 1}: lines {', '.join(map(str, groups[m]))}" for m in sorted(groups))
    yield Finding(
        "identity.marks",
        Severity.NOTE,
        f"{len(groups)} different marks (dots, notches) keep all look-alikes apart: {said}",
        "look-alike lines",
        "no mark counts as a mark: the first group may stay bare",
    )


def _pair_findings(pairs: tuple[LookAlike, ...], lines: Mapping[str, OrderLine]) -> tuple[Finding, ...]:
    return tuple(
        Finding(
            f"identity.{pair.kind}",
            Severity.WARNING,
            f"{lines[pair.first].title} and {lines[pair.second].title} are hard to tell apart: {pair.reason}",
            f"lines {lines[pair.first].line} and {lines[pair.second].line}",
            REMEDY[pair.kind],
        )
        for pair in pairs
    )
