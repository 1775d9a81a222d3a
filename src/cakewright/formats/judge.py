"""Strict or forgiving: one place where a reader says that a file breaks its format."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NoReturn

from cakewright.errors import MeshFileError
from cakewright.findings import Finding, Severity


@dataclass(slots=True)
class Judge:
    """Collects findings for one file.

    A strict judge raises at the first breach; a forgiving one writes it down and the reader goes on
    with the liberty it names. What nobody could read is refused by both.
    """

    name: str
    strict: bool
    _found: dict[tuple[str, str], tuple[Finding, int]] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was written down, in order; the same thing said often is one finding that tells how often."""
        return tuple(f if n == 1 else replace(f, message=f"{f.message} ({n} times)") for f, n in self._found.values())

    def breach(self, code: str, message: str, remedy: str, *, liberty: str) -> None:
        """The format forbids this. Strict: MeshFileError. Forgiving: a warning that tells the liberty taken."""
        if self.strict:
            self.refuse(message, remedy)
        self._add(code, Severity.WARNING, f"{message}; {liberty}", remedy)

    def warn(self, code: str, message: str, remedy: str) -> None:
        """Allowed by the format, yet somebody should look."""
        self._add(code, Severity.WARNING, message, remedy)

    def note(self, code: str, message: str, remedy: str = "") -> None:
        """Good to know."""
        self._add(code, Severity.NOTE, message, remedy)

    def refuse(self, message: str, remedy: str) -> NoReturn:
        """Nobody can read this."""
        raise MeshFileError(message, remedy=remedy, where=self.name)

    def _add(self, code: str, severity: Severity, message: str, remedy: str) -> None:
        finding, times = self._found.get((code, message), (Finding(code, severity, message, self.name, remedy), 0))
        self._found[code, message] = (finding, times + 1)
