"""Which part is this, and how many are there: scale and callipers as evidence, with honest error.

P(candidate | values) is proportional to prior x normal likelihood of mass and of each size. Mirrored
twins have the same mass and sizes: they are reported together, never guessed. Trapped powder shows as
extra mass. Spread figures are `sources.quality` defaults until the cell has its own.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cakewright.errors import InputError
from cakewright.sources.quality import MASS_SPREAD, SIZE_SPREAD, SIZE_SPREAD_PER_MM

_SAME_G = 1e-3  # relative: twins differ by less
_STRANGE = 5.0  # sigmas: no candidate explains the values


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part that it may be: expected mass in g, sizes in mm (any order), how many are still looked for."""

    key: str
    mass_g: float
    sizes_mm: tuple[float, ...]
    missing: int = 1
    mirror_of: str | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """A candidate with its probability, the gap in sigmas of its worst value, and what to look at."""

    key: str
    probability: float
    worst_sigma: float
    note: str = ""


def identify(
    candidates: Sequence[Candidate],
    *,
    mass_g: float | None = None,
    sizes_mm: Sequence[float] = (),
    scale_g: float = 0.05,
) -> tuple[Match, ...]:
    """Candidates by probability, most likely first; probabilities add to one.

    Each measured size is compared with the best remaining size of the candidate (callipers do not say
    which edge it was). `scale_g` is the error of the scale. A piece that fits none keeps its ranking but the
    note says so.
    """
    _check_values(candidates, mass_g, sizes_mm)
    scored = [(c, *_score(c, mass_g, sizes_mm, scale_g)) for c in candidates if c.missing > 0]
    if not scored:
        raise InputError("no piece is missing any more", remedy="check the count: this one may be a surplus piece")
    top = max(score + math.log(c.missing) for c, score, _ in scored)
    weights = [(c, math.exp(score + math.log(c.missing) - top), worst) for c, score, worst in scored]
    total = math.fsum(w for _, w, _ in weights)
    matches = [Match(c.key, w / total, worst, _note(c, worst, candidates)) for c, w, worst in weights]
    return tuple(sorted(matches, key=lambda m: (-m.probability, m.key)))


def trapped_powder_g(expected_g: float, weighed_g: float, *, scale_g: float = 0.05) -> tuple[float, bool]:
    """(extra mass, is it more than the spread explains at three sigmas)."""
    sigma = math.hypot(MASS_SPREAD.value * expected_g, scale_g)
    return weighed_g - expected_g, weighed_g - expected_g > 3.0 * sigma


def count_sigma(pieces: int, reference: int, spread: float) -> float:
    """Standard error of a count by weight: n cv sqrt(1/n + 1/n_ref), in pieces."""
    if pieces < 1 or reference < 1 or not spread >= 0:
        raise InputError(
            f"{pieces} pieces from a reference of {reference} at spread {spread:g}", remedy="give one or more of each"
        )
    return pieces * spread * math.sqrt(1.0 / pieces + 1.0 / reference)


def most_on_scale(reference: int, spread: float, *, confidence_sigmas: float = 3.0, scale_pieces: float = 0.0) -> int:
    """How many pieces may lie on the scale at once so that the count rounds right at so many sigmas.

    The error must stay below half a piece; `scale_pieces` is the scale's own error in pieces. 0: count by hand.
    """
    count_sigma(1, reference, spread)
    if spread == 0.0 and confidence_sigmas * scale_pieces < 0.5:
        raise InputError("a spread of zero", remedy="weigh ten pieces one by one and give their spread")
    n = 0
    while confidence_sigmas * math.hypot(count_sigma(n + 1, reference, spread), scale_pieces) < 0.5:
        n += 1
    return n


def count_by_weight(total_g: float, reference_g: float, reference: int, spread: float) -> tuple[int, float]:
    """(count, probability that it is right), from the mass of `reference` pieces."""
    if not total_g > 0 or not reference_g > 0:
        raise InputError(f"{total_g:g} g against {reference_g:g} g", remedy="weigh again: both masses are above zero")
    estimate = total_g / (reference_g / reference)
    n = max(1, round(estimate))
    sigma = count_sigma(n, reference, spread)
    if sigma == 0.0:
        return n, 1.0
    near = [math.exp(-0.5 * ((estimate - k) / sigma) ** 2) for k in range(max(1, n - 12), n + 13)]
    return n, math.exp(-0.5 * ((estimate - n) / sigma) ** 2) / math.fsum(near)


def _score(c: Candidate, mass_g: float | None, sizes_mm: Sequence[float], scale_g: float) -> tuple[float, float]:
    """(log likelihood, worst gap in sigmas)."""
    score, worst = 0.0, 0.0
    if mass_g is not None:
        sigma = math.hypot(MASS_SPREAD.value * c.mass_g, scale_g)
        z = (mass_g - c.mass_g) / sigma
        score, worst = -0.5 * z * z - math.log(sigma), abs(z)
    left = list(c.sizes_mm)
    for size in sorted(sizes_mm, reverse=True):
        if not left:
            break
        near = min(left, key=lambda s: abs(s - size))
        left.remove(near)
        sigma = SIZE_SPREAD.value + SIZE_SPREAD_PER_MM.value * near
        z = (size - near) / sigma
        score, worst = score - 0.5 * z * z - math.log(sigma), max(worst, abs(z))
    return score, worst


def _note(c: Candidate, worst: float, candidates: Sequence[Candidate]) -> str:
    twin = next((o.key for o in candidates if c.key in (o.mirror_of,) or o.key == c.mirror_of), None)
    if worst > _STRANGE:
        return "fits none of the missing parts well: trapped powder, broken, or not from this build?"
    if twin is not None:
        return f"mirrored twin of {twin}: scale and callipers cannot tell, look at the picture"
    same = [o.key for o in candidates if o.key != c.key and _same(o, c)]
    return f"same mass and sizes as {', '.join(same)}: look at marks" if same else ""


def _same(a: Candidate, b: Candidate) -> bool:
    if abs(a.mass_g - b.mass_g) > _SAME_G * max(a.mass_g, b.mass_g) or len(a.sizes_mm) != len(b.sizes_mm):
        return False
    pairs = zip(sorted(a.sizes_mm), sorted(b.sizes_mm), strict=True)
    return all(abs(x - y) <= SIZE_SPREAD.value for x, y in pairs)


def _check_values(candidates: Sequence[Candidate], mass_g: float | None, sizes_mm: Sequence[float]) -> None:
    if mass_g is None and not sizes_mm:
        raise InputError("neither a mass nor a size", remedy="weigh the piece or measure one to three sizes")
    for value in (*([] if mass_g is None else [mass_g]), *sizes_mm):
        if not math.isfinite(value) or value <= 0:
            raise InputError(f"a reading of {value:g}", remedy="weigh or measure again: it must be above zero")
    for c in candidates:
        if not c.mass_g > 0 or any(s <= 0 for s in c.sizes_mm):
            raise InputError(f"{c.key} has mass {c.mass_g:g} g", remedy="check the part's volume and density")
    if sizes_mm and any(len(c.sizes_mm) < len(sizes_mm) for c in candidates):
        raise InputError(
            f"{len(sizes_mm)} sizes measured, a candidate has fewer", remedy="give each candidate its three box sizes"
        )
