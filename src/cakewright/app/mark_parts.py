"""Marks that order lines ask for: the short name or the number of the line, cut into or raised on each piece."""

from __future__ import annotations

from dataclasses import replace

from cakewright.app.line_flags import Mark, mark_of
from cakewright.errors import CakewrightError
from cakewright.findings import Finding, Severity
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.nesting.identity import Marked, mark_part
from cakewright.nesting.letters import dot_cells, text_cells
from cakewright.parts.measure import measure
from cakewright.sources.identity import DOT_CELL, MARK_CELL


def marked(part: Part, line: OrderLine) -> Part:
    """The part with the mark that its line asks for; unchanged, with a warning, when no face has room for it."""
    wanted = mark_of(line)
    if wanted is Mark.NONE or part.is_blocked:
        return part
    where = f"line {line.line} ({line.title})"
    try:
        done = _mark(part, line, wanted)
    except CakewrightError as wrong:
        finding = Finding(
            "identity.not-marked", Severity.WARNING, f"it gets no mark: {wrong.found}", where, wrong.remedy
        )
        return replace(part, findings=(*part.findings, finding))
    said = f"the number {line.line} in dots" if wanted is Mark.DOTS else f"'{line.key}'"
    how = "raised on" if done.is_raised else "cut into"
    finding = Finding(
        "identity.marked",
        Severity.NOTE,
        f"{said} is {how} a flat face of every piece",
        where,
        "look at the place before releasing the build; take the flag off when the face must stay clean",
        done.at_mm,
    )
    return replace(part, mesh=done.mesh, measures=measure(done.mesh), findings=(*part.findings, finding))


def _mark(part: Part, line: OrderLine, wanted: Mark) -> Marked:
    if wanted is Mark.DOTS:
        return mark_part(part.mesh, dot_cells(line.line), cell_mm=DOT_CELL.value)
    return mark_part(part.mesh, text_cells(line.key), cell_mm=MARK_CELL.value, raised=wanted is Mark.RAISED)
