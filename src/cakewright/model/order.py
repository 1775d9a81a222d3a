"""What was asked for: order lines and lists of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from cakewright.errors import OrderListError
from cakewright.findings import Finding


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line of the order book.

    `quality_class` names a class of the cell (draft, standard, fine ...); `material` and `finish`
    name entries of the cell. `nominal_size_mm`/`nominal_volume_cm3` are what the customer wrote, used
    to decide units and to warn, never to compute. `where` is 'file, line n' for messages.
    """

    line: int
    order: str
    received: date
    customer: str
    part: str
    revision: str
    quantity: int
    material: str
    finish: str
    quality_class: str
    due: date
    file: str | None = None
    nominal_size_mm: tuple[float, float, float] | None = None
    nominal_volume_cm3: float | None = None
    flags: tuple[str, ...] = ()
    where: str = ""

    def __post_init__(self) -> None:
        """Refuse quantities and dates that cannot be meant."""
        if self.quantity < 1:
            raise OrderListError(
                f"quantity {self.quantity}", remedy="write a whole number of at least 1", where=self.where
            )
        if not self.part.strip():
            raise OrderListError("the part has no name", remedy="fill in the column 'part'", where=self.where)

    @property
    def key(self) -> str:
        """Short name used on trays and in file names: 'L07'."""
        return f"L{self.line:02d}"

    @property
    def title(self) -> str:
        """What people call it: 'snap arm short rev E'."""
        return f"{self.part} rev {self.revision}" if self.revision else self.part


@dataclass(frozen=True, slots=True)
class OrderList:
    """The lines of one file, in file order. `findings` are doubts about the file that stopped nothing."""

    source: str
    lines: tuple[OrderLine, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def pieces(self) -> int:
        """Ordered pieces over all lines."""
        return sum(line.quantity for line in self.lines)
