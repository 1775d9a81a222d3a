"""What a plan changes against the one before, in words, for the top of its papers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Changed:
    """`headline` says it in one sentence; then one sentence for each line, and for each task of a build, that moves."""

    since: int
    headline: str
    lines: tuple[str, ...]
    tasks: tuple[str, ...]

    @property
    def title(self) -> str:
        """'What changed since plan 3'."""
        return f"What changed since plan {self.since}"

    @property
    def text(self) -> str:
        """Everything, one statement a line."""
        return "\n".join((self.title, self.headline, *self.lines, *self.tasks)) + "\n"

    def shortest(self, most: int) -> tuple[str, ...]:
        """The headline and so many of the sentences, lines first, with how many are left out."""
        said = (*self.lines, *self.tasks)
        rest = len(said) - most
        return (self.headline, *said[:most], *([f"and {rest} more, in what-changed.txt"] if rest > 0 else []))
