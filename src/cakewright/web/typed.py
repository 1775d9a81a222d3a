"""Numbers as people type them: a comma is a point; nonsense is answered with what to write."""

from __future__ import annotations

import math

from cakewright.errors import InputError

LARGEST = 1e7


def number(text: str, what: str) -> float:
    """A finite number; InputError naming `what` otherwise."""
    try:
        value = float(text.replace(",", "."))
    except ValueError as wrong:
        raise InputError(f"{text[:20]!r} is no number", remedy="write 12.3", where=what) from wrong
    if not math.isfinite(value) or abs(value) > LARGEST:
        raise InputError(f"{text[:20]!r} cannot be measured", remedy="measure again", where=what)
    return value


def above_zero(text: str, what: str) -> float:
    """A number above zero; InputError otherwise."""
    value = number(text, what)
    if value <= 0:
        raise InputError(f"{text[:20]!r} is not above zero", remedy="measure again", where=what)
    return value
