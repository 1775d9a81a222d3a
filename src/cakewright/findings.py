"""How every check reports: a Finding is a doubt with a place and a remedy, not an error."""

from dataclasses import dataclass
from enum import StrEnum

from cakewright.errors import InputError


class Severity(StrEnum):
    """How much a finding matters to the week."""

    NOTE = "note"  # good to know
    WARNING = "warning"  # goes on, a person should look
    BLOCKING = "blocking"  # the line cannot be planned


@dataclass(frozen=True, slots=True)
class Finding:
    """One observation by one check.

    `code` is short, stable and listed in `docs/reference/findings.md`, e.g. `mesh.open-edges`;
    `where` names file, line or part; `remedy` tells what to do. `at_mm` is a place on the part in
    part coordinates, when there is one.
    """

    code: str
    severity: Severity
    message: str
    where: str = ""
    remedy: str = ""
    at_mm: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        """Refuse a finding nobody could look up."""
        if not self.code or " " in self.code:
            raise InputError(f"finding code {self.code!r} is empty or has a space", remedy="use 'topic.what-is-wrong'")

    @property
    def text(self) -> str:
        """The finding on one line."""
        head = f"{self.where}: " if self.where else ""
        tail = f" -> {self.remedy}" if self.remedy else ""
        return f"{head}{self.message}{tail}"


def worst(findings: tuple[Finding, ...] | list[Finding]) -> Severity | None:
    """The gravest severity among `findings`, None when there are none."""
    order = list(Severity)
    return max((f.severity for f in findings), key=order.index, default=None)
