"""Is the request complete: what ISO/ASTM 52901 asks to be settled between customer and part provider.

The list follows the headings of the standard as far as they could be read (its section 4.2-4.3); it is a
memory aid, not the standard.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from cakewright.errors import InputError


@dataclass(frozen=True, slots=True)
class Requirement:
    """One thing to settle: `key` for records, `question` ready to send, `weight` in the score."""

    key: str
    question: str
    weight: int


REQUIREMENTS: tuple[Requirement, ...] = (
    Requirement("geometry", "Which file, in which revision and unit, is the one to make? (STL carries no unit.)", 3),
    Requirement("quantity", "How many good pieces, and are spares wanted or to be destroyed?", 3),
    Requirement("date", "By which day do the parts have to be with you?", 3),
    Requirement("feedstock", "Which material, and is powder that was used before allowed?", 3),
    Requirement(
        "tolerances", "Which sizes matter, with which tolerance? Where none is given, is our general one right?", 2
    ),
    Requirement("texture", "Which faces are seen or seal, and which finish and colour reference do they need?", 2),
    Requirement("orientation", "Is the build orientation free, or do loads or faces fix it?", 1),
    Requirement("imperfections", "Which imperfections are acceptable, and where are none allowed?", 2),
    Requirement("repair", "May a flaw be repaired, or is the piece to be replaced?", 1),
    Requirement("process", "Which process records do you need (powder lot, build, machine)?", 1),
    Requirement("inspection", "How are the parts accepted: which inspection, on how many, by whom?", 2),
    Requirement("specimens", "Are test specimens to be built and tested with the parts?", 1),
    Requirement("marking", "Which marks or serial numbers, and on which face may they be?", 1),
    Requirement("packing", "How are the parts to be packed and to which address do they go?", 1),
)


@dataclass(frozen=True, slots=True)
class Completeness:
    """Share of what is settled by weight, and the questions that are open, weightiest first."""

    score: float
    questions: tuple[str, ...]


def check_complete(settled: Collection[str], *, defaults: Collection[str] = ()) -> Completeness:
    """Score of a request; `settled` and `defaults` (agreed with the customer for all orders) are requirement keys."""
    known = {r.key for r in REQUIREMENTS}
    strange = sorted((set(settled) | set(defaults)) - known)
    if strange:
        raise InputError(f"{strange[0]!r} is no requirement", remedy=f"use: {', '.join(sorted(known))}")
    done = set(settled) | set(defaults)
    opened = sorted((r for r in REQUIREMENTS if r.key not in done), key=lambda r: -r.weight)
    whole = sum(r.weight for r in REQUIREMENTS)
    return Completeness(1.0 - sum(r.weight for r in opened) / whole, tuple(r.question for r in opened))
