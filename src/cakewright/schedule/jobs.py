"""What the schedule is asked to place: builds with their durations, order lines with their bench work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from cakewright.errors import InputError
from cakewright.model.cell import Finish


@dataclass(frozen=True, slots=True)
class BuildJob:
    """One build, whole minutes.

    `print_min` maps the names of the machines that could print it to their minutes, from closing the door
    to the end of the last layer. `cool_min` runs from the print end until the cake may be opened,
    `minimum_cool_in_machine_min` from the print end until the chamber may be lifted out. `load_min`,
    `unload_min`, `unpack_min` and `clean_min` are hands. `release` is the first instant at which the
    build file can be started. `pinned_machine` leaves no choice of machine. `virgin_kg` is taken from the stock
    when it is loaded. `test_min` of hands after unpacking test its specimens, `test_wait_min` later there is a result.
    """

    key: str
    material: str
    chamber_type: str
    print_min: Mapping[str, int]
    cool_min: int
    minimum_cool_in_machine_min: int
    load_min: int
    unload_min: int
    unpack_min: int
    clean_min: int
    release: datetime
    pinned_machine: str | None = None
    virgin_kg: float = 0.0
    test_min: int = 0
    test_wait_min: int = 0

    def __post_init__(self) -> None:
        """Refuse durations and instants that cannot be meant."""
        minutes = {
            "cool_min": self.cool_min,
            "minimum_cool_in_machine_min": self.minimum_cool_in_machine_min,
            "load_min": self.load_min,
            "unload_min": self.unload_min,
            "unpack_min": self.unpack_min,
            "clean_min": self.clean_min,
            "test_min": self.test_min,
            "test_wait_min": self.test_wait_min,
        }
        negative = [name for name, value in minutes.items() if value < 0]
        if negative or any(value < 1 for value in self.print_min.values()):
            raise InputError(
                f"a duration is not positive: {', '.join(negative) or 'print_min'}",
                remedy="give whole minutes, at least 0 (printing at least 1)",
                where=f"build {self.key}",
            )
        _aware(self.release, f"build {self.key}: release")


@dataclass(frozen=True, slots=True)
class LineJob:
    """One order line after printing: which builds hold its pieces, how it is finished, by when.

    `inspect_min` and `pack_min` are hands for the whole line. `weight` is what an hour of lateness costs
    relative to other lines. `litres` is the bulk volume of its pieces in a basket or bath; 0 means not known,
    then the capacity of a station is not looked at. A line that `waits_for_test` is packed only when
    the results of its builds are there. A line without builds gets a promise without a date.
    """

    line: int
    builds: tuple[str, ...]
    finish: Finish
    pieces: int
    inspect_min: int
    pack_min: int
    due_by: datetime
    weight: float
    litres: float = 0.0
    waits_for_test: bool = False

    def __post_init__(self) -> None:
        """Refuse counts and instants that cannot be meant."""
        if min(self.inspect_min, self.pack_min) < 0 or self.pieces < 1 or not self.weight >= 0:
            raise InputError(
                f"pieces {self.pieces}, inspect_min {self.inspect_min}, pack_min {self.pack_min}, weight {self.weight}",
                remedy="give at least one piece, and minutes and weight of at least 0",
                where=f"line {self.line}",
            )
        _aware(self.due_by, f"line {self.line}: due_by")


def _aware(instant: datetime, what: str) -> None:
    if instant.tzinfo is None:
        raise InputError(f"{what} has no time zone", remedy="give an instant with a time zone, for example UTC")
