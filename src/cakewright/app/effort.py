"""How long the searches of a plan go on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cakewright.stopping import MaxSeconds, MaxSteps, NoImprovement, Stop, first_of

BATCHING_STEPS = 4000
DATE_STEPS = 3000
DATE_SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class Effort:
    """A fresh stop rule for each build's nest, each batching and the dates."""

    nest: Callable[[], Stop]
    batching: Callable[[], Stop]
    dates: Callable[[], Stop]


def effort_in_seconds(nest_seconds: float, clock: Callable[[], float]) -> Effort:
    """Stop rules for a person who waits: seconds for each nest, counted steps for the rest."""
    return Effort(
        nest=lambda: MaxSeconds(nest_seconds, clock),
        batching=lambda: first_of(MaxSteps(BATCHING_STEPS), NoImprovement(BATCHING_STEPS // 4)),
        dates=lambda: first_of(MaxSteps(DATE_STEPS), MaxSeconds(DATE_SECONDS, clock)),
    )


def effort_in_steps(nest_steps: int) -> Effort:
    """Stop rules that give the same plan on every machine."""
    return Effort(
        nest=lambda: MaxSteps(nest_steps),
        batching=lambda: MaxSteps(BATCHING_STEPS),
        dates=lambda: MaxSteps(DATE_STEPS),
    )
