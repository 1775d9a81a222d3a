"""When a search stops: rules that are arguments, so that the same seed and rule give the same answer.

A rule is called as `stop(steps, best)` with the work counted so far and the best objective; True means
stop now. Rules combine with `first_of`. Clocks come from outside: domains read none.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol


class Stop(Protocol):
    """Decides after each counted step whether a search goes on."""

    def __call__(self, steps: int, best: float) -> bool:
        """Return True to stop. `best` is the objective of the best solution so far, lower is better."""
        ...


@dataclass(frozen=True, slots=True)
class MaxSteps:
    """Stop after a number of steps: repeatable on any machine."""

    steps: int

    def __call__(self, steps: int, best: float) -> bool:
        """True once `steps` are done."""
        return steps >= self.steps


@dataclass(slots=True)
class MaxSeconds:
    """Stop after seconds on the given clock (for example `time.monotonic`), counted from the first call."""

    seconds: float
    clock: Callable[[], float]
    _start: float | None = field(default=None, init=False)

    def __call__(self, steps: int, best: float) -> bool:
        """True once the time is used up."""
        now = self.clock()
        if self._start is None:
            self._start = now
        return now - self._start >= self.seconds


@dataclass(slots=True)
class NoImprovement:
    """Stop when the best objective has not fallen for a number of steps."""

    steps: int
    _best: float = field(default=float("inf"), init=False)
    _since: int = field(default=0, init=False)

    def __call__(self, steps: int, best: float) -> bool:
        """True once nothing better was found for long enough."""
        if best < self._best:
            self._best, self._since = best, steps
        return steps - self._since >= self.steps


@dataclass(frozen=True, slots=True)
class Cancelled:
    """Stop when somebody says so: `asked` is for example `threading.Event().is_set`."""

    asked: Callable[[], bool]

    def __call__(self, steps: int, best: float) -> bool:
        """True once cancelled."""
        return self.asked()


def first_of(*rules: Stop) -> Stop:
    """A rule that stops as soon as one of `rules` does."""

    def stop(steps: int, best: float) -> bool:
        answers = [rule(steps, best) for rule in rules]  # each is asked every time: some of them count
        return any(answers)

    return stop
