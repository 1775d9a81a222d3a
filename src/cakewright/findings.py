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
    part coordinates, when there is one. `value` is what was found and `limit` what it was judged by, both in `unit`;
    each may be absent.
    """

    code: str
    severity: Severity
    message: str
    where: str = ""
    remedy: str = ""
    at_mm: tuple[float, float, float] | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        """Refuse a finding nobody could look up."""
        if not self.code or " " in self.code:
            raise InputError(f"finding code {self.code!r} is empty or has a space", remedy="use 'topic.what-is-wrong'")
        if (self.value is None and self.limit is None) != (not self.unit):
            raise InputError(
                f"finding {self.code} has value {self.value}, limit {self.limit} and unit {self.unit!r}",
                remedy="give a unit with a value or a limit, and none without",
            )

    @property
    def measure(self) -> str:
        """Value and limit as one phrase, '0.40 mm, at least 0.8 mm'; empty when there is no value."""
        if self.value is None:
            return ""
        found = f"{_digits(self.value)} {self.unit}"
        if self.limit is None:
            return found
        limit = f"{_plain(self.limit)} {self.unit}"
        return f"{found}, at least {limit}" if self.value < self.limit else f"{found}, at most {limit}"

    @property
    def text(self) -> str:
        """The finding on one line."""
        head = f"{self.where}: " if self.where else ""
        tail = f" -> {self.remedy}" if self.remedy else ""
        return f"{head}{self.message}{tail}"


def _digits(value: float) -> str:
    """Three figures that count, none of them in powers of ten."""
    size = abs(value)
    return f"{value:.2f}" if size < 10 else f"{value:.1f}" if size < 100 else f"{value:.0f}"


def _plain(value: float) -> str:
    """A limit as people write it: 0.8, 10, 200000."""
    return f"{value:.4g}" if abs(value) < 10_000 else f"{value:.0f}"


def worst(findings: tuple[Finding, ...] | list[Finding]) -> Severity | None:
    """The gravest severity among `findings`, None when there are none."""
    order = list(Severity)
    return max((f.severity for f in findings), key=order.index, default=None)
