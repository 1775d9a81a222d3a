"""Changing the material of a machine: does it pay, how long should a campaign be, and the signed checklist."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.powder_books import WASTE, code_of, look
from cakewright.app.powder_deeds import open_accounts
from cakewright.errors import InputError
from cakewright.model.cell import Cell, Machine, Material
from cakewright.powder.changeover import CHECKLIST, Campaign, Change, campaign, change_pays
from cakewright.powder.ledger import EntryKind
from cakewright.sources.powder import CHANGEOVER_STAFFED_H, PURGE_KG
from cakewright.store import Store
from cakewright.store.powder import Booking, Books, Remark

STEPS = CHECKLIST[:-1]  # the last line of the list is the two signatures
BEGUN, STEP, CLEANED, CHECKED, PURGED = "change begun", "change step", "change cleaned", "change checked", "purged"


@dataclass(frozen=True, slots=True)
class ChangeAdvice:
    """Whether a change there and back pays now, and the cheapest campaign. Money in the cell's currency."""

    change: Change
    pays: bool
    margin: float
    campaign: Campaign


@dataclass(frozen=True, slots=True)
class RunningChange:
    """A change of material under way: who ticked which step, purge powder, signatures."""

    machine: str
    to: str
    begun: Remark
    ticks: dict[int, Remark]
    purged: tuple[Remark, ...]
    cleaned: Remark | None
    checked: Remark | None

    @property
    def missing(self) -> tuple[int, ...]:
        """Steps nobody has signed."""
        return tuple(n for n in range(1, len(STEPS) + 1) if n not in self.ticks)

    @property
    def is_done(self) -> bool:
        """True when cleaned and checked are signed."""
        return self.cleaned is not None and self.checked is not None


def advise_change(
    cell: Cell,
    machine: str,
    to: str,
    *,
    demand_h_per_week: float,
    waiting_value: float,
    staffed_h: float = CHANGEOVER_STAFFED_H.value,
    purge_kg: float = PURGE_KG.value,
    waiting_price_per_h_week: float | None = None,
) -> ChangeAdvice:
    """Price of a change, whether the waiting work pays for going there and back, and the cheapest campaign.

    `waiting_value` is what the waiting work would earn or save; a machine hour of work that waits a week costs
    `waiting_price_per_h_week` (default: the machine's rate).
    """
    the_machine, material = _other(cell, machine, to)
    change = Change(
        machine_rate_per_h=the_machine.rate_per_h,
        staffed_h=staffed_h,
        hands_per_h=cell.rates.hands_per_h,
        purge_kg=purge_kg,
        virgin_price_per_kg=material.virgin_price_per_kg,
    )
    waiting = the_machine.rate_per_h if waiting_price_per_h_week is None else waiting_price_per_h_week
    pays, margin = change_pays(change, waiting_value=waiting_value, lost_margin_per_h=0.0)
    return ChangeAdvice(
        change,
        pays,
        margin,
        campaign(change, demand_h_per_week=demand_h_per_week, waiting_price_per_h_week=waiting),
    )


def _other(cell: Cell, machine: str, to: str) -> tuple[Machine, Material]:
    """Machine and new material; refused when it is the material that the machine has."""
    the_machine, material = cell.machine(machine), cell.material(to)
    if the_machine.material == material.name:
        raise InputError(f"{machine} prints {to} already", remedy="choose another material of the cell", where="to")
    return the_machine, material


def begin_change(store: Store, cell: Cell, machine: str, to: str, *, by: str, at: datetime) -> None:
    """Open the checklist of a machine; refused while another one is open."""
    require(store, by, Step.SERVICE, at.date())
    _other(cell, machine, to)
    with store.powder.booking() as booking:
        running = _running(booking.books, machine)
        if running is not None and not running.is_done:
            raise InputError(f"{machine} is being changed to {running.to} already", remedy="finish that list first")
        booking.remark("machine", machine, BEGUN, to, at=at, by=by)


def sign_step(store: Store, machine: str, step: int, *, by: str, at: datetime) -> None:
    """Sign one step of the list."""
    require(store, by, Step.SERVICE, at.date())
    if not 1 <= step <= len(STEPS):
        raise InputError(f"there is no step {step}", remedy=f"sign one of 1 to {len(STEPS)}")
    with store.powder.booking() as booking:
        _open(booking, machine)
        booking.remark("machine", machine, STEP, str(step), at=at, by=by)


def purge(store: Store, machine: str, can: str, kg: float, *, by: str, at: datetime) -> None:
    """Purge powder: out of a can, through the machine, to waste."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        running = _open(booking, machine)
        open_accounts(booking, by=by, at=at)
        key = code_of(booking.ledger, can)
        if booking.ledger.containers[key].material != running.to:
            raise InputError(
                f"{key} holds {booking.ledger.containers[key].material}, {machine} changes to {running.to}",
                remedy="purge with the new material",
            )
        booking.move(at=at, source=key, target=WASTE, kg=kg, who=by, kind=EntryKind.DISCARD,
                     reason=f"purge of {machine}")  # fmt: skip
        booking.remark("machine", machine, PURGED, f"{kg:.3f} kg from {key}", at=at, by=by)


def sign_change(store: Store, machine: str, *, as_checker: bool, by: str, at: datetime) -> None:
    """The two last signatures: the one who cleaned, then somebody else who checked. Every step first."""
    require(store, by, Step.SERVICE, at.date())
    with store.powder.booking() as booking:
        running = _open(booking, machine)
        if running.missing:
            raise InputError(
                f"steps {', '.join(map(str, running.missing))} are not signed", remedy="do and sign them first"
            )
        if not running.purged:
            raise InputError("no purge powder was booked", remedy="purge, weigh it and book it first")
        if as_checker and running.cleaned is None:
            raise InputError("nobody has signed the cleaning", remedy="the one who cleaned signs first")
        if as_checker and running.cleaned is not None and running.cleaned.by == by.strip():
            raise InputError(f"{by} cleaned and checks", remedy="a second person looks and signs")
        booking.remark("machine", machine, CHECKED if as_checker else CLEANED, running.to, at=at, by=by)


def running_change(store: Store, machine: str) -> RunningChange | None:
    """The latest change of a machine, done or not; None when there never was one."""
    return _running(look(store).books, machine)


def _open(booking: Booking, machine: str) -> RunningChange:
    running = _running(booking.books, machine)
    if running is None or running.is_done:
        raise InputError(f"{machine} is not being changed", remedy="begin the change first", where=machine)
    return running


def _running(books: Books, machine: str) -> RunningChange | None:
    said = books.remarks_on("machine", machine)
    begins = [i for i, r in enumerate(said) if r.what == BEGUN]
    if not begins:
        return None
    mine = said[begins[-1] :]
    last = {r.what: r for r in mine}
    return RunningChange(
        machine, mine[0].value, mine[0], {int(r.value): r for r in mine if r.what == STEP},
        tuple(r for r in mine if r.what == PURGED), last.get(CLEANED), last.get(CHECKED),
    )  # fmt: skip
