"""Value + unit + source + status, filed under a name."""

from dataclasses import dataclass, field
from enum import StrEnum
from importlib import import_module
from pkgutil import iter_modules

from cakewright.errors import InputError


class Status(StrEnum):
    """How far a number can be trusted."""

    MEASURED = "measured here"
    READ = "read"  # in the text of the named source
    SECOND_HAND = "second-hand"  # in a text that quotes the named source
    DERIVED = "derived"  # worked out from other values by a stated formula
    COMMON_PRACTICE = "common practice, no source"
    FROM_MEMORY = "from memory"
    DEFAULT = "default, unverified"  # chosen by us; replace by the cell's own measurement


@dataclass(frozen=True, slots=True)
class Reference:
    """A number and where it comes from.

    `name` is dotted and unique (`powder.bulk_density`), `low`/`high` the range that sources or
    practice support, when known. Use `float(reference)` or `reference.value` in a formula.
    """

    name: str
    value: float
    unit: str
    status: Status
    source: str
    note: str = ""
    low: float | None = field(default=None)
    high: float | None = field(default=None)

    def __post_init__(self) -> None:
        """File the reference; a second one of the same name with other content is a mistake."""
        known = _FILED.get(self.name)
        if known is not None and known != self:
            raise InputError(f"two references named {self.name!r}", remedy="give one of them another name")
        if not self.source:
            raise InputError(f"reference {self.name!r} has no source", remedy="name one, or say who chose the value")
        if self.low is not None and self.high is not None and not self.low <= self.value <= self.high:
            raise InputError(f"reference {self.name!r}: {self.value} is outside {self.low}..{self.high}")
        _FILED[self.name] = self

    def __float__(self) -> float:
        """The bare value."""
        return self.value


_FILED: dict[str, Reference] = {}


def all_references() -> tuple[Reference, ...]:
    """Every reference of every topic, sorted by name."""
    import cakewright.sources as package

    for module in iter_modules(package.__path__):
        import_module(f"cakewright.sources.{module.name}")
    return tuple(sorted(_FILED.values(), key=lambda r: r.name))
