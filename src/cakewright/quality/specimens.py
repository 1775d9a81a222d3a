"""Test bars of a build: do they release it, and do the directions differ more than they should?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.quality.spc import ewma, individuals
from cakewright.sources.quality import Z_MODULUS, Z_STRENGTH


@dataclass(frozen=True, slots=True)
class Limit:
    """Least value of a property that releases a build."""

    quantity: str
    least: float
    unit: str


def check_release(build: str, values: Sequence[float], limit: Limit, *, needed: int = 3) -> tuple[Finding, ...]:
    """Hold the build when bars are missing, or when any bar is below the limit. A person releases, never this."""
    where = f"build {build}"
    if any(not v >= 0 for v in values):
        raise InputError(f"{limit.quantity} readings {list(values)}", remedy="a reading is zero or more", where=where)
    if len(values) < needed:
        return (
            Finding("quality.specimens-missing", Severity.BLOCKING, f"{len(values)} of {needed} bars tested for "
                    f"{limit.quantity}", where=where, remedy="test the missing bars before parts are shipped"),
        )  # fmt: skip
    low = [v for v in values if v < limit.least]
    if not low:
        return ()
    return (
        Finding("quality.specimen-low", Severity.BLOCKING,
                f"{limit.quantity} {min(low):g} {limit.unit} in {len(low)} of {len(values)} (limit {limit.least:g})",
                where=where, remedy="hold the lines of this build and of its blend; look at powder age and heat"),
    )  # fmt: skip


def check_drift(quantity: str, history: Sequence[float], latest: Sequence[float]) -> Finding | None:
    """Does the mean of the latest builds leave the EWMA limits set by the history (ten builds or more)?"""
    if len(history) < 10 or not latest:
        return None
    usual = individuals(history)
    sigma = float(usual.sigma[0])
    if sigma == 0.0:
        return None
    chart = ewma(latest, target=usual.centre, sigma=sigma)
    if chart.is_in_control:
        return None
    last = chart.points[chart.beyond[0]]
    return Finding("quality.specimen-drift", Severity.WARNING, f"{quantity} drifts: weighted mean {last:.4g}, usual "
                   f"{usual.centre:.4g} ± {sigma:.2g}", where=f"build {chart.beyond[0] + 1} of the latest",
                   remedy="look for what changed: powder, bed heat, window, opening temperature")  # fmt: skip


def check_directions(strength: dict[str, float], modulus: dict[str, float]) -> tuple[Finding, ...]:
    """Directions X, Y, Z of one build: the weakest against the best, with the published largest differences."""
    found = []
    for quantity, values, ratio in (("strength", strength, Z_STRENGTH.value), ("modulus", modulus, Z_MODULUS.value)):
        if len(values) < 2 or any(not v > 0 for v in values.values()):
            raise InputError(f"{quantity} by direction {values}", remedy="give two directions or more, above zero")
        weakest, best = min(values, key=lambda k: values[k]), max(values, key=lambda k: values[k])
        if values[weakest] < ratio * values[best]:
            found.append(
                Finding("quality.anisotropy", Severity.WARNING,
                        f"{quantity} along {weakest} is {values[weakest] / values[best]:.2f} of that along {best}, "
                        f"published worst case {ratio:g}", where="test bars",
                        remedy="layers bond poorly: look at bed temperature, laser power and powder age"))  # fmt: skip
    return tuple(found)
