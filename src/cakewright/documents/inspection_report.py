"""The inspection report of a line: what it is, where its pieces stood, room for values, person, gauge, decision.

What the plan does not know (tolerances, sample size, results) is left to write in, never made up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from cakewright.documents.sections import Block, facts, heading, letter, part_drawing, signatures, table, ticks, words
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.documents.words import count, piece_mass_g, title, trays
from cakewright.errors import InputError
from cakewright.model.build import Build
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan

_VALUES = 5
_BLANK_ROWS = 3
DECISIONS = ("Accept", "Sort", "Rework", "Reject", "Ask for a concession")


@dataclass(frozen=True, slots=True)
class InspectedSize:
    """One characteristic as measured: its limits in words, gauges, value by piece in the order of the columns."""

    name: str
    limits: str
    gauges: str
    values: Mapping[str, str]
    is_good: bool


@dataclass(frozen=True, slots=True)
class Inspected:
    """What is known about the inspection of a line: the sampling plan in words, sizes, the verdict so far."""

    lot: int
    sample: int
    rule: str
    to_measure: tuple[str, ...]
    sizes: tuple[InspectedSize, ...]
    verdict: str
    by: str


def inspection_report_pdf(plan: WeekPlan, number: int, known: Inspected | None = None) -> bytes:
    """The inspection report of one order line as a PDF file, A4; what is not in `known` is left to fill in.

    InputError when the line is not in the plan or no piece of it is in a build.
    """
    numbers = {line.line for line in plan.orders.lines}
    if number not in numbers or not plan.builds_of(number):
        listed = ", ".join(str(n) for n in sorted(numbers) if plan.builds_of(n))
        raise InputError(f"line {number} has no pieces in this plan", remedy=f"use one of: {listed}")
    return set_pdf("letter", _data(plan, plan.line(number), known))


def spread_over_height(build: Build, line: int) -> tuple[str, ...]:
    """The lowest, the middle and the highest piece of a line: where a build shows its differences."""
    pieces = sorted(build.pieces_of(line), key=lambda p: (p.z_min_mm, p.piece))
    chosen = {0, len(pieces) // 2, len(pieces) - 1} if pieces else set()
    return tuple(pieces[i].piece for i in sorted(chosen))


def _data(plan: WeekPlan, line: OrderLine, known: Inspected | None) -> dict[str, Any]:
    part = plan.parts[plan.part_of_line[line.line]]
    builds = plan.builds_of(line.line)
    blocks: list[Block] = [
        facts(
            ("Part", title(line)),
            ("Order, customer", f"{line.order} · {line.customer}"),
            ("File", part.origin.file),
            ("Hash of the file (start)", part.origin.sha256[:16]),
            ("Material, finish, class", f"{line.material} · {line.finish} · {line.quality_class}"),
            ("Ordered, in builds", f"{line.quantity}, {sum(len(b.pieces_of(line.line)) for b in builds)}"),
            (
                "Lot size · sample size · plan",
                f"{known.lot} · {known.sample} · {known.rule}" if known else "______ · ______ · ______________",
            ),
            ("Temperature · humidity · condition", "____ °C · ____ % · ____________"),
        ),
        table(
            (("Part as in its file", "auto"), ("Pieces from the bottom, middle and top of each build", "1fr")),
            [[{"svg": picture_svg(part_drawing(plan, part.key, 360)), "mm": 38}, _where(plan, line, builds)]],
        ),
        *_measured(known),
        heading("Sizes, mm" if not known or not known.sizes else "Room for more sizes, mm"),
        _sizes(part.measures.size_mm, piece_mass_g(plan, line)),
        words(
            "Nominal sizes are those of the part's box in its file; mass is volume × sintered density. "
            "Sizes that matter and their tolerances come from the drawing or the order.",
        ),
        heading("Decision"),
        ticks(*DECISIONS, across=3),
        signatures("Measured by · date", "Released by · date"),
    ]
    return letter(plan, "Inspection report", line.key, f"line-{line.line}", blocks)


def _measured(known: Inspected | None) -> list[Block]:
    """Values as they were kept, pieces across; a table of at most so many pieces beside each other."""
    if known is None:
        return []
    blocks: list[Block] = [words(f"To measure: {', '.join(known.to_measure)}.")] if known.to_measure else []
    pieces = list(dict.fromkeys(p for s in known.sizes for p in s.values))
    for at in range(0, len(pieces), _VALUES):
        some = pieces[at : at + _VALUES]
        rows = [[s.name, s.limits, s.gauges or "–", *(s.values.get(p, "–") for p in some),
                 "within" if s.is_good else "OUTSIDE"] for s in known.sizes]  # fmt: skip
        columns = (("Measured", "1.4fr"), ("Limits", "1.2fr"), ("Gauge", "1fr"))
        blocks += [heading("Values"), table((*columns, *((p, "0.9fr") for p in some), ("", "auto")), rows)]
    if known.sizes:
        blocks.append(words(f"So far: {known.verdict}. Measured by {known.by}. A person decides.", strong=True))
    return blocks


def _where(plan: WeekPlan, line: OrderLine, builds: tuple[Build, ...]) -> str:
    said = []
    for b in builds:
        height = {p.piece: f"{p.z_min_mm:.0f}–{p.z_max_mm:.0f} mm" for p in b.pieces_of(line.line)}
        named = ", ".join(f"{piece} ({height[piece]})" for piece in spread_over_height(b, line.line))
        said.append(f"{b.key} · {b.machine} · tray {trays(b)[line.line]} · {count(len(height), 'piece')}\n{named}")
    return "\n\n".join(said)


def _sizes(size: tuple[float, float, float], mass_g: float | None) -> Block:
    known: list[tuple[str, str]] = [(f"box {axis}", f"{s:.2f}") for axis, s in zip("XYZ", size, strict=True)]
    known += [] if mass_g is None else [("mass, g", f"{mass_g:.2f}")]
    blank: list[tuple[str | None, str | None]] = [(None, None)] * _BLANK_ROWS
    columns = (("Feature", "1.5fr"), ("Nominal", "1fr"), ("Tolerance", "1fr"), ("Gauge", "1fr"))
    return table(
        (*columns, *((f"piece {'_' * 4}", "0.9fr") for _ in range(_VALUES))),
        [[name, nominal, None, None, *[None] * _VALUES] for name, nominal in (*known, *blank)],
    )
