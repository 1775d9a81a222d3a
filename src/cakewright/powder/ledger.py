"""The powder ledger: every movement in whole grams from one container to another, and nothing is ever erased.

Frozen entries are appended by `Ledger`; a mistake is put right by a new entry that names the old one
and a reason. Whole grams make the books close exactly: what came in is in some container, always.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

from cakewright.errors import InputError
from cakewright.powder.checks import grams_from_kg, kg_text, need_zero_or_more


class ContainerKind(StrEnum):
    """What a container is for. Only `SUPPLIER` and `FOUND` give without having; nothing leaves the last three."""

    SUPPLIER = "supplier"  # outside: where virgin lots come from
    FOUND = "found"  # outside: powder that a weigh-in finds beyond the books
    VIRGIN = "virgin drum"  # one supplier lot
    USED = "used can"
    BLEND = "blend"
    CHARGE = "charge"  # in the machine
    CAKE = "cake powder"
    CRUST = "crust"
    OVERFLOW = "overflow"
    OVERSIZE = "oversize"
    PARTS = "parts"
    WASTE = "waste"
    MISSING = "missing"  # what a weigh-in does not find


ENDS = frozenset({ContainerKind.PARTS, ContainerKind.WASTE, ContainerKind.MISSING})
OUTSIDE = frozenset({ContainerKind.SUPPLIER, ContainerKind.FOUND})


class EntryKind(StrEnum):
    """Why powder moved."""

    RECEIVE = "receive"
    MOVE = "move"
    PRINT = "print"  # seen heat: `exposures` and `dose_h` say how much
    SIEVE = "sieve"
    DISCARD = "discard"
    WEIGH_IN = "weigh-in"
    CORRECT = "correct"


@dataclass(frozen=True, slots=True)
class Lot:
    """A supplier lot. Without a certificate that was read it may not be used, nor while `hold` says why not."""

    key: str
    material: str
    supplier_lot: str
    received: date
    certificate: str = ""
    expires: date | None = None
    opened: date | None = None
    storage: str = ""
    hold: str = ""


@dataclass(frozen=True, slots=True)
class Container:
    """Something that holds powder. `lot` only for virgin drums; without a label it can only be emptied to waste."""

    key: str
    kind: ContainerKind
    material: str
    is_labelled: bool = True
    capacity_kg: float | None = None
    lot: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One movement. `corrects` names the entry whose grams it changes (`grams` may then be negative).

    `exposures` whole builds and `dose_h` hours at heat are added to the age of what moves.
    """

    number: int
    at: datetime
    kind: EntryKind
    source: str
    target: str
    grams: int
    who: str
    reason: str = ""
    exposures: int = 0
    dose_h: float = 0.0
    corrects: int | None = None

    @property
    def kg(self) -> float:
        """Kilograms moved."""
        return self.grams / 1000.0


@dataclass(frozen=True, slots=True)
class Movement:
    """What really moved in an entry, corrections included."""

    number: int
    source: str
    target: str
    grams: int
    exposures: int
    dose_h: float


@dataclass(slots=True)
class Ledger:
    """Containers, lots and entries; balances in grams are kept up to date."""

    lots: dict[str, Lot] = field(default_factory=dict)
    containers: dict[str, Container] = field(default_factory=dict)
    _entries: list[Entry] = field(default_factory=list)
    _grams: dict[str, int] = field(default_factory=dict)
    _last: dict[str, datetime] = field(default_factory=dict)
    _changes: dict[int, int] = field(default_factory=dict)

    @classmethod
    def replay(cls, lots: Iterable[Lot], containers: Iterable[Container], entries: Iterable[Entry]) -> Ledger:
        """The ledger after stored entries, each checked again."""
        ledger = cls()
        for lot in lots:
            ledger.add_lot(lot)
        for container in containers:
            ledger.add_container(container)
        for entry in entries:
            if entry.number != len(ledger._entries) + 1:
                raise InputError(
                    f"entry {entry.number} follows entry {len(ledger._entries)}",
                    remedy="the ledger has a gap: restore it from a backup, entries are never removed",
                )
            ledger._post(entry)
        return ledger

    @classmethod
    def restore(cls, lots: Iterable[Lot], containers: Iterable[Container], entries: Iterable[Entry]) -> Ledger:
        """The ledger as it was kept; numbers must run on and nothing may be below zero.

        The rules of the day (label, certificate, date) were asked when each entry was written and are not
        asked again: a date that is changed today does not undo what happened last month.
        """
        ledger = cls({lot.key: lot for lot in lots}, {c.key: c for c in containers})
        ledger._grams = dict.fromkeys(ledger.containers, 0)
        for entry in entries:
            if entry.number != len(ledger._entries) + 1:
                raise InputError(
                    f"entry {entry.number} follows entry {len(ledger._entries)}",
                    remedy="the ledger has a gap: restore it from a backup, entries are never removed",
                )
            ledger._book(entry)
        short = [k for k, g in ledger._grams.items() if g < 0 and ledger.containers[k].kind not in OUTSIDE]
        if short:
            raise InputError(
                f"{short[0]!r} holds {kg_text(ledger._grams[short[0]])}",
                remedy="the ledger is damaged: restore it from a backup",
            )
        return ledger

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All entries in order."""
        return tuple(self._entries)

    def add_lot(self, lot: Lot) -> None:
        """Make a supplier lot known."""
        if lot.key in self.lots:
            raise InputError(f"lot {lot.key!r} is there already", remedy="give each lot its own key")
        self.lots[lot.key] = lot

    def add_container(self, container: Container) -> None:
        """Make a container known, empty."""
        if container.key in self.containers:
            raise InputError(
                f"container {container.key!r} is there already", remedy="use a new label for each container"
            )
        if (container.kind is ContainerKind.VIRGIN) != (container.lot is not None):
            raise InputError(
                f"container {container.key!r} is a {container.kind} with lot {container.lot!r}",
                remedy="a virgin drum holds one supplier lot, other containers name none",
            )
        if container.lot is not None:
            lot = self.lot(container.lot)
            if lot.material != container.material:
                raise InputError(f"drum {container.key!r} is {container.material}, lot {lot.key!r} is {lot.material}")
        self.containers[container.key] = container
        self._grams[container.key] = 0

    def lot(self, key: str) -> Lot:
        """The lot of that key."""
        if key not in self.lots:
            raise InputError(f"lot {key!r} is not in the ledger", remedy="book the delivery first")
        return self.lots[key]

    def container(self, key: str) -> Container:
        """The container of that key."""
        if key not in self.containers:
            raise InputError(f"container {key!r} is not in the ledger", remedy="scan its label again or add it")
        return self.containers[key]

    def kg(self, key: str) -> float:
        """What is in a container now."""
        self.container(key)
        return self._grams[key] / 1000.0

    def grams(self) -> Mapping[str, int]:
        """Grams in each container; outside sources count negative, so that all add up to zero."""
        return dict(self._grams)

    def move(
        self,
        *,
        at: datetime,
        source: str,
        target: str,
        kg: float,
        who: str,
        kind: EntryKind = EntryKind.MOVE,
        reason: str = "",
        exposures: int = 0,
        dose_h: float = 0.0,
    ) -> Entry:
        """Append a movement of `kg`, rounded to the gram; refused with the figures when it cannot be."""
        entry = Entry(
            len(self._entries) + 1, at, kind, source, target, grams_from_kg(kg), who, reason, exposures, dose_h
        )
        self._post(entry)
        return entry

    def correct(self, number: int, *, kg: float, at: datetime, who: str, reason: str) -> Entry:
        """Entry `number` really moved `kg` (zero: it never happened). The old entry stays as it was written.

        The books are replayed with the right figure: refused when a container would at some time have
        held less than nothing.
        """
        if not 1 <= number <= len(self._entries):
            raise InputError(f"there is no entry {number}", remedy=f"give a number from 1 to {len(self._entries)}")
        wrong = self._entries[number - 1]
        if wrong.corrects is not None:
            raise InputError(f"entry {number} is itself a correction", remedy=f"correct entry {wrong.corrects}")
        change = grams_from_kg(kg, may_be_zero=True) - wrong.grams - self._changes.get(number, 0)
        entry = Entry(
            len(self._entries) + 1, at, EntryKind.CORRECT, wrong.source, wrong.target, change, who, reason,
            corrects=number,
        )  # fmt: skip
        self._post(entry)
        return entry

    def weigh_in(
        self, container: str, *, kg: float, at: datetime, who: str, reason: str, missing: str, found: str
    ) -> Entry | None:
        """Book what the scale says: the difference goes to `missing` or comes from `found`, with its reason.

        None when scale and books agree to the gram. A reading of zero is refused: an empty can is
        booked by saying where its powder went.
        """
        measured, booked = grams_from_kg(kg), self._grams[self.container(container).key]
        if not reason.strip():
            raise InputError(
                f"{container}: the scale says {kg_text(measured)}, the books {kg_text(booked)}, without a reason",
                remedy="name the difference: scale, spilled, label lost, not known ...",
            )
        if measured == booked:
            return None
        source, target = (container, missing) if measured < booked else (found, container)
        amount = abs(measured - booked) / 1000.0
        return self.move(
            at=at, source=source, target=target, kg=amount, who=who, kind=EntryKind.WEIGH_IN, reason=reason
        )

    def movements(self) -> tuple[Movement, ...]:
        """What really moved, in order, with corrections at the entry they put right; nothing of zero grams."""
        found = []
        for e in self._entries:
            grams = e.grams + self._changes.get(e.number, 0)
            if e.corrects is None and grams > 0:
                found.append(Movement(e.number, e.source, e.target, grams, e.exposures, e.dose_h))
        return tuple(found)

    def _post(self, entry: Entry) -> None:
        self._check(entry)
        if entry.corrects is None:
            self._check_amount(entry)
        else:
            self._check_history(entry)
        self._book(entry)

    def _book(self, entry: Entry) -> None:
        if entry.corrects is not None:
            self._changes[entry.corrects] = self._changes.get(entry.corrects, 0) + entry.grams
        self._grams[entry.source] -= entry.grams
        self._grams[entry.target] += entry.grams
        self._last[entry.source] = self._last[entry.target] = entry.at
        self._entries.append(entry)

    def _check(self, entry: Entry) -> None:
        where = f"entry {entry.number}"
        source, target = self.container(entry.source), self.container(entry.target)
        if source.key == target.key:
            raise InputError(
                f"powder moves from {source.key!r} to itself", remedy="name another container", where=where
            )
        if source.kind in ENDS and entry.kind is not EntryKind.CORRECT:
            raise InputError(
                f"{source.key!r} is {source.kind}: nothing leaves it", remedy="correct the entry that filled it"
            )
        if target.kind in OUTSIDE:
            raise InputError(f"{target.key!r} is {target.kind}: nothing goes there", remedy="move it to waste")
        if entry.at.tzinfo is None:
            raise InputError("the time has no time zone", remedy="give the instant in UTC", where=where)
        if not entry.who.strip():
            raise InputError("nobody is named", remedy="give the name of the person who moved it", where=where)
        if entry.kind is EntryKind.CORRECT and not entry.reason.strip():
            raise InputError("a correction without a reason", remedy="write why the old figure was wrong", where=where)
        for held in (source, target):
            last = self._last.get(held.key)
            if last is not None and entry.at < last and held.kind not in OUTSIDE | ENDS:
                raise InputError(
                    f"{held.key!r} was moved at {last:%Y-%m-%d %H:%M}, this entry is of {entry.at:%Y-%m-%d %H:%M}",
                    remedy="post entries in order of time, or correct the entry that was wrong",
                    where=where,
                )
        need_zero_or_more("the dose", entry.dose_h, "h")
        if entry.exposures < 0:
            raise InputError(f"{entry.exposures} exposures", remedy="give zero or more", where=where)
        if entry.kind is not EntryKind.CORRECT:
            self._check_fit(entry, source, target)

    def _check_fit(self, entry: Entry, source: Container, target: Container) -> None:
        """May this powder go there: material, label, lot and certificate."""
        to_waste = target.kind in ENDS - {ContainerKind.PARTS}
        if source.material != target.material and not self._takes_any(source) and not self._takes_any(target):
            raise InputError(
                f"{source.key!r} holds {source.material}, {target.key!r} is for {target.material}",
                remedy="two materials never meet: check both labels",
            )
        if not source.is_labelled and not to_waste:
            raise InputError(f"{source.key!r} has no label", remedy="an unlabelled can is waste: discard it")
        if target.kind is ContainerKind.VIRGIN and source.kind not in OUTSIDE:
            raise InputError(f"{target.key!r} is a virgin drum", remedy="put powder that was open into a used can")
        if source.kind is ContainerKind.SUPPLIER and target.kind is not ContainerKind.VIRGIN:
            raise InputError(
                f"{target.key!r} is a {target.kind}: deliveries go into virgin drums",
                remedy="book each delivered drum with its lot; powder of unknown origin comes from a 'found' account",
            )
        if source.lot is not None and not to_waste:
            self._check_lot(self.lot(source.lot), entry.at.date())

    @staticmethod
    def _takes_any(container: Container) -> bool:
        """Suppliers, weigh-in accounts and waste may stand for all materials; then they name none."""
        return not container.material and container.kind in OUTSIDE | ENDS - {ContainerKind.PARTS}

    @staticmethod
    def _check_lot(lot: Lot, today: date) -> None:
        if lot.hold:
            raise InputError(
                f"lot {lot.key!r} is {lot.hold}", remedy="decide about the lot first, with the reason; or discard it"
            )
        if not lot.certificate.strip():
            raise InputError(f"lot {lot.key!r} has no certificate", remedy="read and file the certificate first")
        if lot.expires is not None and today > lot.expires:
            raise InputError(
                f"lot {lot.key!r} was to be used by {lot.expires:%Y-%m-%d}, today is {today:%Y-%m-%d}",
                remedy="discard it, or file a new date from the supplier",
            )

    def _check_amount(self, entry: Entry) -> None:
        source, target = self.containers[entry.source], self.containers[entry.target]
        if entry.grams <= 0:
            raise InputError(
                f"{kg_text(entry.grams)} from {source.key!r}", remedy="a movement is above zero: read the scale again"
            )
        there = self._grams[source.key]
        if source.kind not in OUTSIDE and entry.grams > there:
            raise InputError(
                f"{kg_text(entry.grams)} from {source.key!r}, which holds {kg_text(there)}",
                remedy="check the container and the scale; when the books are wrong, weigh it in first",
            )
        after = self._grams[target.key] + entry.grams
        if target.capacity_kg is not None and after > round(target.capacity_kg * 1000):
            raise InputError(
                f"{target.key!r} would hold {kg_text(after)} of at most {target.capacity_kg:g} kg",
                remedy="use a second container",
            )

    def _check_history(self, entry: Entry) -> None:
        """Replay with the correction: no container may ever have held less than nothing."""
        assert entry.corrects is not None
        changes = dict(self._changes)
        changes[entry.corrects] = changes.get(entry.corrects, 0) + entry.grams
        held = dict.fromkeys(self.containers, 0)
        for e in self._entries:
            if e.corrects is not None:
                continue
            grams = e.grams + changes.get(e.number, 0)
            held[e.source] -= grams
            held[e.target] += grams
            short = [k for k in (e.source, e.target) if held[k] < 0 and self.containers[k].kind not in OUTSIDE]
            if short or grams < 0:
                key = short[0] if short else e.source
                raise InputError(
                    f"with this correction {key!r} would have held {kg_text(held[key])} after entry {e.number}",
                    remedy=f"correct entry {e.number} first, or weigh the container in and name the difference",
                )
