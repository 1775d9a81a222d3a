"""An invented past for the powder of a demo cell: six weeks of builds, ending with exactly its stock."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from cakewright.app.powder_books import WASTE, code_of, look
from cakewright.app.powder_deeds import (
    correct,
    discard,
    lose_label,
    make_can,
    measure_flow,
    new_can,
    opening_stock,
    receive_lot,
    sieve,
    weigh_in,
)
from cakewright.model.cell import Cell, Material
from cakewright.powder.ledger import Container, ContainerKind, EntryKind
from cakewright.store import Store
from cakewright.store.powder import Booking

LOTS = {"PA12": ("V-7655", "V-7712", "V-7740")}  # of the small cell: used up, and two on the shelf
LARGE_LOTS = {"PA12": ("V-8042", "V-8101", "V-8115"), "PA12-GF": ("G-3301", "G-3318", "G-3327")}
DRUM_KG, USED_CAN_KG, BUILDS, DOSE_H, SEED = 10.0, 12.0, 6, 12.0, 7
RATIO, IN_PARTS, OVERFLOW, DUST = 0.4, 0.11, 0.13, 0.02  # shares of a charge, invented
STEP, DAYS_BETWEEN = timedelta(minutes=7), 6


@dataclass(slots=True)
class _Past:
    """Who writes the invented books of one material, and when."""

    store: Store
    material: Material
    people: tuple[str, ...]
    at: datetime
    rng: random.Random
    lots: tuple[str, str, str]

    def who(self) -> str:
        """Somebody of the cell."""
        return self.rng.choice(self.people)

    def now(self) -> datetime:
        """The next moment: time only goes forward."""
        self.at += STEP
        return self.at

    def used(self) -> list[str]:
        """Used cans with powder, the fullest first."""
        cans = [c for c in look(self.store).shelf(self.material.name) if c.kind is ContainerKind.USED]
        return [c.key for c in sorted(cans, key=lambda c: (-c.kg, c.key)) if c.is_labelled]


def write_demo_powder(store: Store, cell: Cell, until: datetime) -> bool:
    """Write the past of every material of `cell` up to `until`; False when the books are not empty.

    At the end each material has the virgin and used kilograms of the cell, and one small can without a label.
    """
    if not look(store).is_empty:
        return False
    begin = until - timedelta(days=DAYS_BETWEEN * (BUILDS + 1))
    for number, material in enumerate(cell.materials):
        people = tuple(p.name for p in cell.people if "unpack" in p.skills) or (cell.people[0].name,)
        known = LARGE_LOTS if len(cell.machines) > 1 else LOTS
        lots = known.get(material.name, (f"{material.name}-1", f"{material.name}-2", f"{material.name}-3"))
        _write_past(_Past(store, material, people, begin, random.Random(SEED + number), lots))
    return True


def _write_past(past: _Past) -> None:
    store, name, used_kg = past.store, past.material.name, past.material.used_kg
    charge = round(max(4.0, used_kg / 3.6), 2)
    use_by = date(past.at.year + 2, 1, 31)
    _deliver(past, past.lots[0], BUILDS * RATIO * charge + 1.0, use_by, "shelf 1")
    cans = max(3, round(used_kg / USED_CAN_KG))
    for can in range(cans):
        code = make_can(store, material=name, by=past.who(), at=past.now())
        kg = round(2 * charge / cans, 3)
        entry = opening_stock(store, code, kg, builds_seen=2, by=past.who(), at=past.now())
        if can == 0:
            correct(store, entry.number, kg - 0.2, reason="the lid was on the scale", by=past.who(), at=past.now())
    for number in range(1, BUILDS + 1):
        _sieve(past, *_one_build(past, number, charge))
        past.at += timedelta(days=DAYS_BETWEEN)
    for lot in past.lots[1:]:
        _deliver(past, lot, past.material.virgin_kg / 2, use_by, "shelf 2")
    _settle(past)
    _keep_watch(past)


def _deliver(past: _Past, lot: str, kg: float, use_by: date, shelf: str) -> None:
    whole, rest = divmod(round(kg, 3), DRUM_KG)
    drums = [DRUM_KG] * int(whole) + ([round(rest, 3)] if rest >= 0.001 else [])
    receive_lot(
        past.store, material=past.material.name, supplier_lot=lot, drums_kg=drums, certificate=f"{lot}.pdf",
        melt_flow=round(past.rng.uniform(48, 54), 1), expires=use_by, storage=shelf, by=past.who(), at=past.now(),
    )  # fmt: skip


def _one_build(past: _Past, number: int, charge_kg: float) -> tuple[str, str]:
    """Blend, charge, print and break out in one go; the codes of cake and overflow."""
    name, by, at = past.material.name, past.who(), past.now()
    dose = round(DOSE_H * past.rng.uniform(0.7, 1.3), 1)
    fullest = past.used()
    with past.store.powder.booking() as booking:
        blend = new_can(booking, ContainerKind.BLEND, name, by=by, at=at, note=f"for earlier build {number}")
        drums = [k for k, c in booking.ledger.containers.items() if c.lot == past.lots[0]]
        _fill(booking, fullest, blend, (1 - RATIO) * charge_kg, by, at)
        _fill(booking, drums, blend, charge_kg - booking.ledger.kg(blend), by, at)
        charge, parts = f"charge earlier {number} {name}", f"parts earlier {number} {name}"
        for key, kind in ((charge, ContainerKind.CHARGE), (parts, ContainerKind.PARTS)):
            booking.add_container(Container(key, kind, name), at=at, by=by)
        kg = booking.ledger.kg(blend)
        booking.move(at=at, source=blend, target=charge, kg=kg, who=by)
        over = new_can(booking, ContainerKind.OVERFLOW, name, by=by, at=at, note=f"overflow, earlier build {number}")
        cake = new_can(booking, ContainerKind.CAKE, name, by=by, at=at, note=f"loose cake, earlier build {number}")
        booking.move(at=at, source=charge, target=parts, kg=IN_PARTS * kg, who=by, kind=EntryKind.PRINT, exposures=1,
                     dose_h=dose)  # fmt: skip
        booking.move(at=at, source=charge, target=over, kg=OVERFLOW * kg, who=by)
        booking.move(at=at, source=charge, target=WASTE, kg=DUST * kg, who=by, kind=EntryKind.DISCARD,
                     reason="floor and blast dust")  # fmt: skip
        booking.move(at=at, source=charge, target=cake, kg=booking.ledger.kg(charge), who=by, kind=EntryKind.PRINT,
                     exposures=1, dose_h=dose)  # fmt: skip
    return cake, over


def _fill(booking: Booking, sources: list[str], target: str, kg: float, by: str, at: datetime) -> None:
    """From one source after the other until so much was taken or nothing is left."""
    left = round(kg, 3)
    for source in sources:
        amount = min(booking.ledger.kg(source), left)
        if amount >= 0.001:
            booking.move(at=at, source=source, target=target, kg=amount, who=by)
            left = round(left - amount, 3)


def _sieve(past: _Past, cake: str, over: str) -> None:
    """Cake and overflow through the sieve into the emptiest used cans, a little oversize to waste."""
    used = [c.key for c in look(past.store).shelf(past.material.name, with_empty=True) if c.kind is ContainerKind.USED]
    for can in (cake, over):
        view = look(past.store)
        there = view.ledger.kg(can)
        oversize = round(there * past.rng.uniform(0.006, 0.010), 3)
        emptiest = min(used, key=view.ledger.kg)
        sieve(past.store, can, through_kg=round(there - oversize, 3), oversize_kg=oversize, target=emptiest,
              cloth="S3", by=past.who(), at=past.now())  # fmt: skip


def _settle(past: _Past) -> None:
    """Old drums emptied, used powder brought to what the cell file says."""
    store, name = past.store, past.material.name
    for can in look(store).shelf(name):
        if can.lot == past.lots[0]:
            discard(store, can.key, None, reason="opened too long ago", by=past.who(), at=past.now())
    excess = round(look(store).stock(name, past.at.date()).ready_kg - past.material.used_kg, 3)
    for key in past.used():
        gone = min(excess, look(store).ledger.kg(key))
        if gone >= 0.001:
            discard(store, key, gone, reason="more than there is room for", by=past.who(), at=past.now())
            excess = round(excess - gone, 3)
    if excess <= -0.001:
        least = code_of(look(store).ledger, past.used()[-1])
        opening_stock(store, least, -excess, builds_seen=2, by=past.who(), at=past.now())


def _keep_watch(past: _Past) -> None:
    """A measured melt flow, a weigh-in that agrees, and a can whose label is gone."""
    store, fullest = past.store, past.used()[0]
    seen = look(store).can(fullest)
    measure_flow(store, fullest, round(0.94 * (seen.flow or 30.0), 1), note="three runs", by=past.who(), at=past.now())
    weigh_in(store, fullest, seen.kg, reason="", by=past.who(), at=past.now())
    lost = make_can(store, material=past.material.name, by=past.who(), at=past.now())
    opening_stock(store, lost, 0.8, reason="found behind the mixer", by=past.who(), at=past.now())
    lose_label(store, lost, reason="nobody knows what it is", by=past.who(), at=past.now())
