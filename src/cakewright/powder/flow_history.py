"""What is believed about the melt flow of every container, followed through the ledger movement by movement."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cakewright.powder.flow import FlowState, after_builds, believe, measured, mixed
from cakewright.powder.ledger import OUTSIDE, Ledger, Movement
from cakewright.sources.powder import (
    CERTIFICATE_SPREAD,
    DOSE_OF_A_BUILD_H,
    FLOW_LOSS_PER_BUILD,
    UNKNOWN_FLOW,
    UNKNOWN_FLOW_SPREAD,
    VIRGIN_FLOW,
)


@dataclass(frozen=True, slots=True)
class FlowPoint:
    """A measurement: melt flow (g/10 min) of a container after an entry of the ledger."""

    after_entry: int
    container: str
    flow: float
    relative_sigma: float


def flow_beliefs(
    ledger: Ledger,
    certificates: Mapping[str, float],
    points: Sequence[FlowPoint],
    *,
    loss_per_build: float = FLOW_LOSS_PER_BUILD.value,
) -> dict[str, FlowState]:
    """Belief about the melt flow of every container that was ever filled.

    `certificates` gives the flow of lots. A movement with a thermal dose ages by dose over the dose of a
    usual build, one without by its exposures. Powder of unknown history starts from a wide guess.
    """
    held = dict.fromkeys(ledger.containers, 0)
    belief: dict[str, FlowState] = {}
    waiting = sorted(points, key=lambda p: p.after_entry)
    for m in ledger.movements():
        while waiting and waiting[0].after_entry < m.number:
            _pull(belief, waiting.pop(0))
        coming = _coming(ledger, m, belief, certificates)
        moved = coming if ledger.containers[m.source].kind in OUTSIDE else after_builds(
            coming, builds_worth(m), loss_per_build
        )  # fmt: skip
        old = held[m.target]
        there = [(belief[m.target], float(old))] if old > 0 else []
        belief[m.target] = mixed([*there, (moved, float(m.grams))])
        held[m.target] += m.grams
        held[m.source] -= m.grams
    for point in waiting:
        _pull(belief, point)
    return belief


def builds_worth(m: Movement) -> float:
    """How many usual builds the heat of a movement is worth; zero when it saw none."""
    return m.dose_h / DOSE_OF_A_BUILD_H.value if m.dose_h > 0.0 else float(m.exposures)


def _coming(
    ledger: Ledger, m: Movement, belief: Mapping[str, FlowState], certificates: Mapping[str, float]
) -> FlowState:
    if ledger.containers[m.source].kind not in OUTSIDE:
        return belief[m.source]
    lot = ledger.containers[m.target].lot
    if lot is None:
        return believe(UNKNOWN_FLOW.value, UNKNOWN_FLOW_SPREAD.value)
    return believe(certificates.get(lot, VIRGIN_FLOW.value), CERTIFICATE_SPREAD.value)


def _pull(belief: dict[str, FlowState], point: FlowPoint) -> None:
    if point.container in belief:
        belief[point.container] = measured(belief[point.container], point.flow, point.relative_sigma)
