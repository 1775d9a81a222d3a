"""Which lines of an order list will be hard to tell apart on the bench."""

from __future__ import annotations

from collections.abc import Mapping

from cakewright.findings import Finding, Severity
from cakewright.model.order import OrderLine
from cakewright.model.part import Part
from cakewright.parts.signature import look_alikes, signature

REMEDY = {
    "mirror": "mark one of the pair, and lay them on separate trays; a scale cannot tell mirror twins apart",
    "near": "mark one of them or lay them on separate trays before blasting",
    "same": "they are the same shape: agree whether they may be mixed, otherwise mark one of them",
}


def look_alike_findings(parts: Mapping[str, Part], lines: Mapping[str, OrderLine]) -> tuple[Finding, ...]:
    """A warning for each pair of lines that callipers and a scale cannot separate; `lines` by part key."""
    signatures = {key: signature(part.mesh) for key, part in parts.items()}
    return tuple(
        Finding(
            f"identity.{pair.kind}",
            Severity.WARNING,
            f"{lines[pair.first].title} and {lines[pair.second].title} are hard to tell apart: {pair.reason}",
            f"lines {lines[pair.first].line} and {lines[pair.second].line}",
            REMEDY[pair.kind],
        )
        for pair in look_alikes(signatures)
    )
