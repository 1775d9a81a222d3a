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

    def share(self, steps: int) -> float:
        """Share of the steps that is done, 0 to 1."""
        return min(1.0, steps / self.steps) if self.steps > 0 else 1.0


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

    def share(self, steps: int) -> float:
        """Share of the time that is gone, 0 to 1; 0 before the first call of the rule."""
        if self._start is None:
            return 0.0
        return min(1.0, (self.clock() - self._start) / self.seconds) if self.seconds > 0 else 1.0


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


@dataclass(frozen=True, slots=True)
class _FirstOf:
    rules: tuple[Stop, ...]

    def __call__(self, steps: int, best: float) -> bool:
        answers = [rule(steps, best) for rule in self.rules]  # each is asked every time: some of them count
        return any(answers)

    def share(self, steps: int) -> float:
        return max((used(rule, steps) or 0.0 for rule in self.rules), default=0.0)


def first_of(*rules: Stop) -> Stop:
    """A rule that stops as soon as one of `rules` does."""
    return _FirstOf(rules)


@dataclass(frozen=True, slots=True)
class Later:
    """The same rule for a search before which `done` steps were made."""

    rule: Stop
    done: int

    def __call__(self, steps: int, best: float) -> bool:
        """What the rule says of all steps together."""
        return self.rule(self.done + steps, best)

    def share(self, steps: int) -> float | None:
        """As `used`."""
        return used(self.rule, self.done + steps)


def used(rule: Stop, steps: int) -> float | None:
    """Share of what a rule allows that is used after `steps`, 0 to 1; None when the rule cannot tell.

    For searches in stages that want to spend a part of their time on each. A combined rule tells the share of the
    one of its rules that has used most, 0 when none can tell.
    """
    share: Callable[[int], float | None] | None = getattr(rule, "share", None)
    return None if share is None else share(steps)
