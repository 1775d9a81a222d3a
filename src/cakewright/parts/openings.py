"""Holes, channels and pins against the limits, and the minutes it takes to get the powder out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cakewright.findings import Finding, Severity
from cakewright.parts.limits import PartLimits
from cakewright.parts.tubes import Tube
from cakewright.sources import printability as numbers

TOLD = 3
SHALLOW = 0.5  # diameters: the eye of an engraved letter is no hole that closes
DEEP = 3.0  # diameters: from here on a hole is a channel


def check_holes(holes: Sequence[Tube], limits: PartLimits, where: str) -> Iterator[Finding]:
    """Holes that close, channels that stay full: diameter against depth, bends and line of sight."""
    small = [h for h in holes if h.diameter_mm < limits["hole_mm"] - 0.02 and h.ratio >= SHALLOW]
    for n, hole in enumerate(small[:TOLD]):
        more = f" ({len(small) - TOLD} more)" if n == TOLD - 1 and len(small) > TOLD else ""
        yield Finding(
            "part.small-hole",
            Severity.WARNING,
            f"a hole of {hole.diameter_mm:.2f} mm, {hole.length_mm:.1f} mm deep; limit {limits['hole_mm']:g} mm: "
            f"it may close{more}",
            where,
            "make it larger, or leave it out and drill it",
            hole.at_mm,
            hole.diameter_mm,
            limits["hole_mm"],
            "mm",
        )
    hard = [h for h in holes if h not in small and _why_hard(h, limits)[0]]
    hard.sort(key=cleaning_min, reverse=True)
    for n, hole in enumerate(hard[:TOLD]):
        more = f" ({len(hard) - TOLD} more)" if n == TOLD - 1 and len(hard) > TOLD else ""
        why, value, limit, unit = _why_hard(hole, limits)
        ends = ("closed at both ends", "open at one end", "open at both ends")[min(hole.open_ends, 2)]
        yield Finding(
            "part.hard-to-clean",
            Severity.WARNING,
            f"a channel of {hole.diameter_mm:.1f} mm, {hole.length_mm:.0f} mm long, {ends}, "
            f"{_bends(hole.bends)}: {why}; about {cleaning_min(hole):.1f} min to clear{more}",
            where,
            "widen it, open its far end, or take its bends out; otherwise agree that powder may stay",
            hole.at_mm,
            value,
            limit,
            unit,
        )


def check_pins(pins: Sequence[Tube], limits: PartLimits, where: str) -> Iterator[Finding]:
    """Pins that are too thin, or so slender that breaking the cake or the jet bends them."""
    free = [p for p in pins if p.open_ends > 0 and p.bends == 0]
    thin = [p for p in free if p.diameter_mm < limits["pin_mm"] - 0.02]
    for n, pin in enumerate(thin[:TOLD]):
        more = f" ({len(thin) - TOLD} more)" if n == TOLD - 1 and len(thin) > TOLD else ""
        yield Finding(
            "part.thin-pin",
            Severity.WARNING,
            f"a pin of {pin.diameter_mm:.2f} mm, {pin.length_mm:.1f} mm long; limit {limits['pin_mm']:g} mm{more}",
            where,
            "make it thicker, or put a metal pin in afterwards",
            pin.at_mm,
            pin.diameter_mm,
            limits["pin_mm"],
            "mm",
        )
    slender = sorted((p for p in free if p.ratio > limits["slender_ratio"]), key=lambda p: -p.ratio)
    for pin in slender[:TOLD]:
        yield Finding(
            "part.slender",
            Severity.WARNING,
            f"{pin.length_mm:.0f} mm long on {pin.diameter_mm:.1f} mm, {pin.ratio:.0f} times its thickness; limit "
            f"{limits['slender_ratio']:g}: it bends when the cake is broken or blasted",
            where,
            "thicken or rib it, mark the line as delicate, or unpack it by hand",
            pin.at_mm,
            pin.ratio,
            limits["slender_ratio"],
            "times its thickness",
        )


def check_cleaning(holes: Sequence[Tube], pockets_mm3: float, where: str) -> Iterator[Finding]:
    """Minutes of hands for each piece, when they are worth planning."""
    minutes = sum(cleaning_min(h) for h in holes if h.ratio > DEEP)
    minutes += float(numbers.CLEAN_POCKET_MIN_PER_CM3) * pockets_mm3 / 1000
    if minutes < float(numbers.CLEAN_WORTH_SAYING_MIN):
        return
    deep = sum(h.ratio > DEEP for h in holes)
    yield Finding(
        "part.cleaning-time",
        Severity.NOTE,
        f"about {minutes:.0f} min of hands for each piece to get the powder out ({deep} deep holes or channels, "
        f"{pockets_mm3 / 1000:.1f} cm³ in pockets)",
        where,
        "plan it on the bench and in the price",
        None,
        minutes,
        float(numbers.CLEAN_WORTH_SAYING_MIN),
        "min",
    )


def cleaning_min(hole: Tube) -> float:
    """Minutes of hands for one hole: find it, poke it loose by its depth, longer for each bend."""
    deep = max(hole.ratio - DEEP, 0.0)
    bends = 1 + hole.bends * (float(numbers.CLEAN_BEND_FACTOR) - 1)
    return float(numbers.CLEAN_OPENING_MIN) + float(numbers.CLEAN_PER_DIAMETER_MIN) * deep * bends


def _why_hard(hole: Tube, limits: PartLimits) -> tuple[str, float, float, str]:
    """What makes a channel hard to clear (empty when nothing does), with the value, the limit and their unit."""
    blind, deepest = limits["blind_channel_mm"], limits["depth_ratio"]
    if hole.ratio <= DEEP:
        return "", hole.diameter_mm, blind, "mm"
    if hole.open_ends < 2:
        if hole.diameter_mm < blind and hole.ratio > deepest:
            why = f"{hole.ratio:.0f} diameters deep with one opening, limit {deepest:g} below {blind:g} mm"
            return why, hole.ratio, deepest, "diameters deep"
    elif hole.diameter_mm < limits["channel_mm"] and hole.ratio > deepest:
        return f"deep channels need {limits['channel_mm']:g} mm", hole.diameter_mm, limits["channel_mm"], "mm"
    if hole.bends and hole.diameter_mm < blind:
        return f"no line of sight, limit {blind:g} mm", hole.diameter_mm, blind, "mm"
    return "", hole.diameter_mm, blind, "mm"


def _bends(n: int) -> str:
    return "straight" if n == 0 else "1 bend" if n == 1 else f"{n} bends"
