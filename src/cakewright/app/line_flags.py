"""What the flags of an order line ask of its build, in one place."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import StrEnum

from cakewright.model.order import OrderLine


class Mark(StrEnum):
    """How the pieces of a line are to be marked."""

    NONE = "none"
    TEXT = "text"  # the short name of the line, engraved
    RAISED = "raised text"
    DOTS = "dots"  # the number of the line as dimples


EARLY_FLAGS = ("must have", "print early")
WITNESS_FLAGS = ("witness", "test specimen")
CAGE_FLAGS = ("cage",)
EARLY_PRIORITY = 1.0


def has_flag(line: OrderLine, flags: Sequence[str]) -> bool:
    """True when one of the flags of a line is among `flags`, whatever the capitals."""
    return any(flag.strip().casefold() in flags for flag in line.flags)


def priority(line: OrderLine) -> float:
    """Above zero when the pieces of a line should be printed early, low in the build."""
    return EARLY_PRIORITY if has_flag(line, EARLY_FLAGS) else 0.0


def is_witness(line: OrderLine) -> bool:
    """True when the pieces of a line are test specimens, to stand low, in the middle and high in the build."""
    return has_flag(line, WITNESS_FLAGS)


def specimen_lines(lines: Iterable[OrderLine]) -> frozenset[int]:
    """The lines whose pieces are test specimens: settling leaves them along the axes they are tested along."""
    return frozenset(line.line for line in lines if is_witness(line))


def wants_cage(line: OrderLine) -> bool:
    """True when the loose pieces of a line are to be printed inside a cage."""
    return has_flag(line, CAGE_FLAGS)


def mark_of(line: OrderLine) -> Mark:
    """How a line is to be marked: flags 'mark', 'mark raised', 'mark dots'."""
    if has_flag(line, ("mark dots",)):
        return Mark.DOTS
    if has_flag(line, ("mark raised",)):
        return Mark.RAISED
    return Mark.TEXT if has_flag(line, ("mark", "mark text")) else Mark.NONE
