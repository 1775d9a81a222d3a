"""The room a line keeps from others, and what it gives back when others nest inside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cakewright.errors import InputError


def net_envelopes(
    envelope_mm3: Mapping[int, float], solid_mm3: Mapping[int, float], inside: Sequence[tuple[int, int, float]]
) -> dict[int, float]:
    """Envelopes by line after credit: `inside` lists (outer line, inner line, envelope mm³ of the inner pieces).

    The outer line pays no longer for room that others fill, the inner ones pay for it themselves; an
    envelope never falls below the solid in it.
    """
    net = {line: float(mm3) for line, mm3 in envelope_mm3.items()}
    for outer, inner, mm3 in inside:
        for line in (outer, inner):
            if line not in net:
                raise InputError(f"line {line} has no envelope", remedy="give the envelope of every line in the build")
        if outer == inner or mm3 < 0:
            raise InputError(f"{mm3:g} mm³ of line {inner} inside line {outer}", remedy="name two lines and a volume")
        net[outer] -= mm3
    return {line: max(mm3, float(solid_mm3[line])) for line, mm3 in net.items()}
