"""How long the searches of a plan go on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from cakewright.stopping import MaxSeconds, MaxSteps, NoImprovement, Stop, first_of

BATCHING_STEPS = 4000
DATE_STEPS = 3000
DATE_SECONDS = 10.0
EXACT_SOLVES = 20
JUDGING_STEPS = 150  # schedules tried to judge one set of batches
JUDGING_SECONDS = 5.0  # and no longer than this, where the effort is in seconds: a hundred builds take that for a few
MOVES = 40  # lines moved or swapped between builds on trial, each judged by real nests and dates
MOVES_SHARE = 1.0  # of the seconds of a nest, for each material
ARRANGE_SHARE = 0.2  # of the seconds of a nest: spent on the wishes once the height is found
SETTLE_SHARE = 0.15  # of the seconds of a nest: spent on the last exact shifts and turns
SETTLE_MOST = 0.5  # of them: until the first round of settling is given up
STEPS_A_ROUND = 25  # steps of a nest for each round of settling, where the effort is in steps


@dataclass(slots=True)
class SettleSeconds:
    """Stop settling after `seconds`, but bring the first round to its end if that takes no more than `most` seconds.

    Most of what settling gains comes in the first round, and it cannot be cut short and kept.
    """

    seconds: float
    most: float
    clock: Callable[[], float]
    _start: float | None = field(default=None, init=False)

    def __call__(self, steps: int, best: float) -> bool:
        """True once the time is over; `steps` are the rounds that are done."""
        now = self.clock()
        if self._start is None:
            self._start = now
        return now - self._start >= (self.seconds if steps > 0 else self.most)


@dataclass(frozen=True, slots=True)
class Effort:
    """A fresh stop rule for each search: nest, batching, dates, arranging by wishes, settling, moving lines,
    exact dates, and the dates that judge a set of batches.

    `by_clock` says that the answer depends on the computer anyway, so that one nest may use several cores.
    """

    nest: Callable[[], Stop]
    batching: Callable[[], Stop]
    dates: Callable[[], Stop]
    arrange: Callable[[], Stop] = field(default=lambda: MaxSteps(0))
    settle: Callable[[], Stop] = field(default=lambda: MaxSteps(0))
    moves: Callable[[], Stop] = field(default=lambda: MaxSteps(0))
    exact: Callable[[], Stop] = field(default=lambda: MaxSteps(0))
    judging: Callable[[], Stop] = field(default=lambda: MaxSteps(JUDGING_STEPS))
    by_clock: bool = False


def effort_in_seconds(nest_seconds: float, clock: Callable[[], float]) -> Effort:
    """Stop rules for a person who waits: seconds for each nest, counted steps for the rest."""
    return Effort(
        nest=lambda: MaxSeconds(nest_seconds * (1 - ARRANGE_SHARE - SETTLE_SHARE), clock),
        arrange=lambda: MaxSeconds(nest_seconds * ARRANGE_SHARE, clock),
        settle=lambda: SettleSeconds(nest_seconds * SETTLE_SHARE, nest_seconds * SETTLE_MOST, clock),
        moves=lambda: first_of(MaxSteps(MOVES), MaxSeconds(nest_seconds * MOVES_SHARE, clock)),
        batching=lambda: first_of(MaxSteps(BATCHING_STEPS), NoImprovement(BATCHING_STEPS // 4)),
        dates=lambda: first_of(MaxSteps(DATE_STEPS), MaxSeconds(DATE_SECONDS, clock)),
        exact=lambda: first_of(MaxSteps(EXACT_SOLVES), MaxSeconds(DATE_SECONDS, clock)),
        judging=lambda: first_of(MaxSteps(JUDGING_STEPS), MaxSeconds(JUDGING_SECONDS, clock)),
        by_clock=True,
    )


def effort_in_steps(nest_steps: int) -> Effort:
    """Stop rules that give the same plan on every machine."""
    return Effort(
        nest=lambda: MaxSteps(nest_steps),
        arrange=lambda: MaxSteps(nest_steps),
        settle=lambda: MaxSteps(nest_steps // STEPS_A_ROUND),
        moves=lambda: MaxSteps(nest_steps // 10),
        batching=lambda: MaxSteps(BATCHING_STEPS),
        dates=lambda: MaxSteps(DATE_STEPS),
        exact=lambda: MaxSteps(1),
    )
