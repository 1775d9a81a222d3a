"""How long work tells somebody where it is, without knowing who listens."""

from typing import Protocol


class Progress(Protocol):
    """Called as work goes on. Raising from it cancels the work."""

    def __call__(self, stage: str, done: int, total: int, note: str = "") -> None:
        """`done` of `total` units of `stage` are finished; `note` says what is being done now."""
        ...


def quiet(stage: str, done: int, total: int, note: str = "") -> None:
    """Tell nobody."""
