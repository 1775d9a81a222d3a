"""Which unit a mesh is in: the file's word, else the order line's size, else what is plausible."""

from __future__ import annotations

from dataclasses import dataclass
from math import log

from cakewright.findings import Finding, Severity
from cakewright.sources import parts as limits
from cakewright.units import LengthUnit

CANDIDATES = (LengthUnit.MILLIMETER, LengthUnit.INCH, LengthUnit.CENTIMETER, LengthUnit.METER, LengthUnit.MICRON)
_PRIOR = {
    LengthUnit.MILLIMETER: 1.0,
    LengthUnit.INCH: 0.3,
    LengthUnit.METER: 0.15,
    LengthUnit.CENTIMETER: 0.1,
    LengthUnit.MICRON: 0.02,
}  # how often design programs export so; only their order matters

Size = tuple[float, float, float]
_ASK = "write the size on the order line, or send a 3MF, which states its unit"


@dataclass(frozen=True, slots=True)
class UnitDecision:
    """The unit taken, how sure (0 to 1), why in words, and what a person should look at."""

    unit: LengthUnit
    confidence: float
    reason: str
    findings: tuple[Finding, ...] = ()


def decide_unit(
    size_raw: Size,
    stated: LengthUnit | None,
    nominal_size_mm: Size | None = None,
    largest_mm: float = 1000.0,
    *,
    where: str = "",
) -> UnitDecision:
    """Decide the unit of a mesh whose box is `size_raw` in the file's numbers.

    `stated` is the file's word, `nominal_size_mm` the order line's, `largest_mm` the longest part the
    cell could print. The file's word is taken even when the order line speaks against it, and the
    contradiction is a finding: a mesh is never rescaled in silence. Without any word the unit is that in
    which the order line's size fits; without that, millimetres are taken unless only another unit gives a
    likely size, and a finding asks whenever there is a doubt.
    """
    if stated is not None:
        return _as_stated(size_raw, stated, nominal_size_mm, where)
    if nominal_size_mm is not None:
        fitting = [unit for unit in CANDIDATES if sizes_agree(size_raw, nominal_size_mm, unit.mm)]
        if fitting:
            return _as_ordered(fitting[0], size_raw, where)
    return _as_plausible(size_raw, nominal_size_mm, largest_mm, where)


def sizes_agree(size_raw: Size, nominal_mm: Size, factor: float = 1.0) -> bool:
    """True when the sorted box edges agree within `parts.size_agrees` of the longest edge.

    Measured against the longest edge: short edges on an order line are often rounded.
    """
    longest = max(*nominal_mm, 1e-9)
    pairs = zip(sorted(size_raw), sorted(nominal_mm), strict=True)
    return all(abs(a * factor - b) <= float(limits.SIZE_AGREES) * longest for a, b in pairs)


def say_size(size_mm: Size) -> str:
    """A box as people write it: '49 x 14 x 30 mm'."""
    return " x ".join(f"{length:.4g}" for length in size_mm) + " mm"


def _as_stated(size_raw: Size, stated: LengthUnit, nominal: Size | None, where: str) -> UnitDecision:
    reason = f"the file says {stated.value}"
    if nominal is None or sizes_agree(size_raw, nominal, stated.mm):
        return UnitDecision(stated, 1.0, reason)
    better = [unit for unit in CANDIDATES if sizes_agree(size_raw, nominal, unit.mm)]
    if not better:
        return UnitDecision(stated, 0.9, reason)
    finding = Finding(
        "unit.contradiction",
        Severity.WARNING,
        f"the file says {stated.value}, but the size on the order line fits {better[0].value}: taken as {stated.value}",
        where=where,
        remedy="ask the customer which size is meant; then export the file in the right unit",
    )
    return UnitDecision(stated, 0.5, f"{reason}; the order line speaks for {better[0].value}", (finding,))


def _as_ordered(unit: LengthUnit, size_raw: Size, where: str) -> UnitDecision:
    reason = f"the file does not say; in {unit.value} it has the size on the order line"
    if unit is LengthUnit.MILLIMETER:
        return UnitDecision(unit, 0.98, reason)
    finding = Finding(
        "unit.taken-from-order",
        Severity.NOTE,
        f"the file says no unit; read as {unit.value}, {say_size(_scaled(size_raw, unit))}, as on the order line",
        where=where,
        remedy="nothing, if the size on the traveller is right",
    )
    return UnitDecision(unit, 0.95, reason, (finding,))


def _as_plausible(size_raw: Size, nominal: Size | None, largest_mm: float, where: str) -> UnitDecision:
    """Weigh units by how usual they are and how usual the size would be; mm is kept unless it is absurd."""
    weights = {unit: _PRIOR[unit] * _usual(_scaled(size_raw, unit), largest_mm) for unit in CANDIDATES}
    total = sum(weights.values())
    mm = LengthUnit.MILLIMETER
    if total == 0:
        return _nothing_fits(size_raw, where)
    best = max(CANDIDATES, key=lambda unit: weights[unit])
    confidence = weights[best] / total
    against = "" if nominal is None else ", and the size on the order line fits no unit"
    if best is mm and confidence >= 0.6 and max(size_raw) > float(limits.SMALL_BUT_SEEN):
        return UnitDecision(mm, confidence, f"the file does not say; millimetres are usual and plausible{against}")
    if best is not mm and confidence >= float(limits.UNIT_GUESS_SURE):
        return _as_guessed(best, min(confidence, 0.9), size_raw, against, where)
    guess = [u for u in CANDIDATES if u is not mm and weights[u] / total > 0.1]
    finding = Finding(
        "unit.ambiguous",
        Severity.WARNING,
        f"the file says no unit{against}: taken as millimeter, {say_size(size_raw)}"
        + "".join(f"; in {u.value} it would be {say_size(_scaled(size_raw, u))}" for u in guess),
        where=where,
        remedy=_ASK,
    )
    reason = "the file does not say and more than one unit is plausible"
    return UnitDecision(mm, weights[mm] / total, reason, (finding,))


def _as_guessed(unit: LengthUnit, confidence: float, size_raw: Size, against: str, where: str) -> UnitDecision:
    finding = Finding(
        "unit.guessed",
        Severity.WARNING,
        f"the file says no unit{against}: in millimeter it would be {say_size(size_raw)}, which is unlikely; "
        f"read as {unit.value}, {say_size(_scaled(size_raw, unit))}",
        where=where,
        remedy=_ASK,
    )
    return UnitDecision(unit, confidence, f"the file does not say; only {unit.value} gives a likely size", (finding,))


def _nothing_fits(size_raw: Size, where: str) -> UnitDecision:
    mm = LengthUnit.MILLIMETER
    finding = Finding(
        "unit.implausible",
        Severity.WARNING,
        f"the file says no unit and no unit gives a likely size: taken as millimetres, {say_size(size_raw)}",
        where=where,
        remedy="ask the customer for the size of the part",
    )
    return UnitDecision(mm, 0.3, "the file does not say and no unit gives a likely size", (finding,))


def _usual(size_mm: Size, largest_mm: float) -> float:
    """How usual a part of this size is in the cell: 1 in the middle, falling to 0 at the absurd ends.

    A part thinner than anything that can be printed is absurd however long it is.
    """
    longest_mm, smallest = max(size_mm), float(limits.SMALLEST_PLAUSIBLE)
    if longest_mm > largest_mm or min(size_mm) < float(limits.THINNEST_PLAUSIBLE):
        return 0.0
    if longest_mm >= 2 * smallest:
        return 1.0
    tiny = smallest / 5
    if longest_mm <= tiny:
        return 0.0
    return log(longest_mm / tiny) / log(2 * smallest / tiny)


def _scaled(size: Size, unit: LengthUnit) -> Size:
    return (size[0] * unit.mm, size[1] * unit.mm, size[2] * unit.mm)
