"""Numbers as people type them: a comma is a point; nonsense is answered with what to write."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from cakewright.errors import InputError

LARGEST = 1e7
LONGEST_WAIT = timedelta(days=30)


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


def happened(text: str, now: datetime) -> datetime:
    """When an entry was made: the time a device noted while it had no network, or `now`.

    InputError for what is no time. A device whose clock is ahead gets `now`; entries older than a month are refused.
    """
    if not text:
        return now
    try:
        when = datetime.fromisoformat(text)
    except ValueError as wrong:
        raise InputError(f"{text[:40]!r} is no time", remedy="write 2027-03-01T06:40:00Z", where="when") from wrong
    when = when if when.tzinfo else when.replace(tzinfo=UTC)
    if now - when > LONGEST_WAIT:
        raise InputError(f"{text[:40]} is more than a month ago", remedy="enter it anew with a note", where="when")
    return min(when, now)


def decider(by: str) -> str:
    """The name of who decides; InputError when nobody's is given."""
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who decides", where="by")
    return by.strip()
