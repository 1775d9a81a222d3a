"""What people do with powder, one function for each deed. All of a deed is kept, or nothing of it.

`by` is the person, `at` the instant (UTC). Every refusal names the figures and leaves the books as they were; so
does one for somebody who is not trained for the step, which names who is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from cakewright.app.authority import Step, require
from cakewright.app.powder_books import (
    ACCOUNTS,
    FOUND,
    MISSING,
    OPENING,
    SUPPLIER,
    WASTE,
    code_of,
    free_code,
)
from cakewright.errors import InputError
from cakewright.findings import Finding
from cakewright.powder.checks import need_positive
from cakewright.powder.climate import check_opening
from cakewright.powder.genealogy import touched_by, trace
from cakewright.powder.health import SieveRun, check_cloth, check_sieve_run
from cakewright.powder.ledger import Container, ContainerKind, Entry, EntryKind, Lot
from cakewright.sources.powder import CLOTH_LIFE_KG, FLOW_REPEATABILITY, SHARE_KEPT
from cakewright.store import Store
from cakewright.store.powder import LABEL, LABELLED, LOST, Booking, Books


@dataclass(frozen=True, slots=True)
class Received:
    """A delivery on the shelf: the lot and the codes of its drums."""

    lot: str
    drums: tuple[str, ...]


def receive_lot(
    store: Store,
    *,
    material: str,
    supplier_lot: str,
    drums_kg: Sequence[float],
    by: str,
    at: datetime,
    certificate: str = "",
    expires: date | None = None,
    storage: str = "",
    melt_flow: float | None = None,
) -> Received:
    """Book a delivery: one lot, one drum for each weight. A second delivery of a known lot adds drums to it."""
    key = supplier_lot.strip()
    if not key or not material.strip() or not drums_kg:
        raise InputError(
            f"lot {supplier_lot!r} of {material!r} in {len(drums_kg)} drums",
            remedy="give the supplier's lot number, the material and the weight of each drum",
        )
    if melt_flow is not None:
        need_positive("the melt flow on the certificate", melt_flow, "g/10 min")
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        if key not in booking.ledger.lots:
            lot = Lot(key, material, key, at.date(), certificate.strip(), expires, None, storage.strip())
            booking.add_lot(lot, at=at, by=by, melt_flow=melt_flow)
        drums = []
        for kg in drums_kg:
            drum = free_code(booking.ledger, ContainerKind.VIRGIN)
            booking.add_container(Container(drum, ContainerKind.VIRGIN, material, lot=key), at=at, by=by)
            booking.move(at=at, source=SUPPLIER, target=drum, kg=kg, who=by, kind=EntryKind.RECEIVE)
            drums.append(drum)
        return Received(key, tuple(drums))


def file_lot(store: Store, lot: str, what: str, value: str, *, by: str, at: datetime, reason: str = "") -> None:
    """File a lot's certificate, storage place or new use-by date (`what`: certificate, storage, expires)."""
    if what not in ("certificate", "storage", "expires"):
        raise InputError(f"nothing called {what!r} is filed for a lot", remedy="use certificate, storage or expires")
    if not value.strip():
        raise InputError(f"the {what} is empty", remedy="write what it is")
    if what == "expires":
        _date(value)
        if not reason.strip():
            raise InputError("a new use-by date without a reason", remedy="name the supplier's letter that gives it")
    with store.powder.booking() as booking:
        booking.ledger.lot(lot)
        booking.remark("lot", lot, what, value.strip(), at=at, by=by, reason=reason)


def open_drum(
    store: Store, drum: str, *, powder_c: float, room_c: float, relative_humidity: float, by: str, at: datetime
) -> None:
    """Note that a drum is opened; refused while water would settle on the powder. Humidity as a share."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        key = code_of(booking.ledger, drum)
        container = booking.ledger.containers[key]
        if container.kind is not ContainerKind.VIRGIN or container.lot is None:
            raise InputError(f"{key} is a {container.kind}", remedy="only virgin drums are opened")
        cold = check_opening(key, powder_c=powder_c, room_c=room_c, relative_humidity=relative_humidity)
        if cold is not None:
            raise InputError(cold.message, remedy=cold.remedy, where=cold.where)
        climate = f"powder {powder_c:g} °C, room {room_c:g} °C, {relative_humidity:.0%} humidity"
        booking.remark("container", key, "opened", climate, at=at, by=by)
        if not any(r.what == "opened" for r in booking.books.remarks_on("lot", container.lot)):
            booking.remark("lot", container.lot, "opened", key, at=at, by=by)


def make_can(
    store: Store,
    *,
    material: str,
    by: str,
    at: datetime,
    kind: ContainerKind = ContainerKind.USED,
    capacity_kg: float | None = None,
    note: str = "",
) -> str:
    """A new empty can with the next free code; print its label before anything goes in."""
    if kind is ContainerKind.VIRGIN:
        raise InputError("a virgin drum without a delivery", remedy="book the delivery: its drums get their codes")
    if capacity_kg is not None:
        need_positive("the size of the can", capacity_kg, "kg")
    with store.powder.booking() as booking:
        return new_can(booking, kind, material, by=by, at=at, capacity_kg=capacity_kg, note=note)


def new_can(
    booking: Booking,
    kind: ContainerKind,
    material: str,
    *,
    by: str,
    at: datetime,
    capacity_kg: float | None = None,
    note: str = "",
    plan: int | None = None,
    build: str | None = None,
) -> str:
    """A new container inside an open transaction; its code."""
    key = free_code(booking.ledger, kind)
    can = Container(key, kind, material, capacity_kg=capacity_kg)
    booking.add_container(can, at=at, by=by, plan=plan, build=build, note=note)
    return key


def opening_stock(
    store: Store, can: str, kg: float, *, by: str, at: datetime, builds_seen: int | None = None, reason: str = ""
) -> Entry:
    """Powder that was there before the books began. `builds_seen` as far as anybody knows; None: nobody does."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        why = reason or ("age not known" if builds_seen is None else f"about {builds_seen} builds, as stated")
        return booking.move(
            at=at, source=OPENING, target=code_of(booking.ledger, can), kg=kg, who=by, reason=why,
            exposures=builds_seen or 0,
        )  # fmt: skip


def move(store: Store, source: str, target: str, kg: float | None, *, by: str, at: datetime, reason: str = "") -> Entry:
    """Pour from one container into another; `kg` None: all of it."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        a, b = code_of(booking.ledger, source), code_of(booking.ledger, target)
        amount = booking.ledger.kg(a) if kg is None else kg
        return booking.move(at=at, source=a, target=b, kg=amount, who=by, reason=reason)


def discard(store: Store, source: str, kg: float | None, *, reason: str, by: str, at: datetime) -> Entry:
    """To waste, with the cause; `kg` None: all of it."""
    require(store, by, Step.BLEND, at.date())
    if not reason.strip():
        raise InputError("waste without a cause", remedy="name it: oversize, floor, dust, too old, no label, mixed up")
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        key = code_of(booking.ledger, source)
        amount = booking.ledger.kg(key) if kg is None else kg
        return booking.move(
            at=at, source=key, target=WASTE, kg=amount, who=by, reason=reason.strip(), kind=EntryKind.DISCARD
        )


def weigh_in(store: Store, can: str, kg: float, *, reason: str, by: str, at: datetime) -> Entry | None:
    """Book what the scale says of a container; None when it agrees with the books to the gram."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        key = code_of(booking.ledger, can)
        agrees = round(kg * 1000) == booking.ledger.grams()[key]
        why = reason.strip() or ("agrees" if agrees else "")
        entry = booking.weigh_in(key, kg=kg, at=at, who=by, reason=why, missing=MISSING, found=FOUND)
        booking.remark("container", key, "weighed", f"{kg:.3f} kg", at=at, by=by, reason=reason)
        return entry


def correct(store: Store, number: int, kg: float, *, reason: str, by: str, at: datetime) -> Entry:
    """Entry `number` really moved `kg`: a new entry with its reason; what drew from it is worked out anew."""
    require(store, by, Step.BLEND, at.date())
    with store.powder.booking() as booking:
        entry = booking.correct(number, kg=kg, at=at, who=by, reason=reason)
        _work_out_again(booking, touched_by(booking.ledger, number))
        return entry


def lose_label(store: Store, can: str, *, by: str, at: datetime, reason: str = "") -> None:
    """A can without a readable label: from now on it can only go to waste."""
    with store.powder.booking() as booking:
        booking.remark("container", code_of(booking.ledger, can), LABEL, LOST, at=at, by=by, reason=reason)


def find_label(store: Store, can: str, *, by: str, at: datetime, reason: str) -> None:
    """The label is there again; needs the reason why it is surely this can."""
    require(store, by, Step.BLEND, at.date())
    if not reason.strip():
        raise InputError("a label without a reason", remedy="write how you know that it is this can")
    with store.powder.booking() as booking:
        booking.remark("container", code_of(booking.ledger, can), LABEL, LABELLED, at=at, by=by, reason=reason)


def measure_flow(
    store: Store,
    can: str,
    melt_flow: float,
    *,
    by: str,
    at: datetime,
    relative_sigma: float = FLOW_REPEATABILITY.value,
    note: str = "",
) -> None:
    """Keep a measured melt flow (g/10 min) of what is in a container now."""
    require(store, by, Step.INSPECT, at.date())
    need_positive("the measured melt flow", melt_flow, "g/10 min")
    need_positive("the repeatability", relative_sigma, "1")
    with store.powder.booking() as booking:
        key = code_of(booking.ledger, can)
        if booking.ledger.kg(key) <= 0:
            raise InputError(f"{key} is empty", remedy="scan the can that the sample came from")
        booking.read_flow(key, melt_flow=melt_flow, relative_sigma=relative_sigma, at=at, by=by, note=note)


def sieve(
    store: Store,
    source: str,
    *,
    through_kg: float,
    oversize_kg: float,
    by: str,
    at: datetime,
    target: str | None = None,
    cloth: str = "",
    cloth_life_kg: float = CLOTH_LIFE_KG.value,
) -> tuple[str, tuple[Finding, ...]]:
    """Sieve all of a can: what went through into a used can (a new one without `target`), the rest to waste.

    The code of the used can, and what the run says about sieve and powder. What neither went through nor
    stayed on the cloth is booked as missing under its name.
    """
    require(store, by, Step.UNPACK, at.date())
    with store.powder.booking() as booking:
        open_accounts(booking, by=by, at=at)
        key = code_of(booking.ledger, source)
        into = code_of(booking.ledger, target) if target else None
        material, total = booking.ledger.containers[key].material, booking.ledger.kg(key)
        if round((through_kg + oversize_kg) * 1000) > round(total * 1000):
            raise InputError(
                f"{through_kg:.3f} kg through and {oversize_kg:.3f} kg oversize from {key}, which holds {total:.3f} kg",
                remedy="weigh again; when the books are wrong, weigh the can in first",
            )
        into = into or new_can(booking, ContainerKind.USED, material, by=by, at=at, note=f"sieved from {key}")
        history = sieve_runs(booking.books, material)
        booking.move(at=at, source=key, target=into, kg=through_kg, who=by, kind=EntryKind.SIEVE, reason=cloth)
        if oversize_kg > 0:
            booking.move(at=at, source=key, target=WASTE, kg=oversize_kg, who=by, kind=EntryKind.SIEVE,
                         reason=f"oversize {cloth}".strip())  # fmt: skip
        rest = booking.ledger.kg(key)
        if round(rest * 1000) > 0:
            booking.move(at=at, source=key, target=MISSING, kg=rest, who=by, kind=EntryKind.WEIGH_IN,
                         reason="sieve: neither through nor on the cloth")  # fmt: skip
        run = SieveRun(f"{key} {at:%Y-%m-%d}", total, through_kg, oversize_kg, cloth)
    findings = check_sieve_run(run, history)
    worn = check_cloth(cloth, [*history, run], cloth_life_kg) if cloth else None
    return into, (*findings, *([worn] if worn else []))


def sieve_runs(books: Books, material: str) -> tuple[SieveRun, ...]:
    """Every sieve run of a material in the books, oldest first; a run is what left one can at one moment."""
    runs: dict[tuple[str, datetime], list[Entry]] = {}
    ledger = books.ledger
    for entry in ledger.entries:
        if ledger.containers[entry.source].material == material and (
            entry.kind is EntryKind.SIEVE or entry.reason.startswith("sieve:")
        ):
            runs.setdefault((entry.source, entry.at), []).append(entry)
    found = []
    for (source, at), entries in runs.items():
        through = [e for e in entries if ledger.containers[e.target].kind is ContainerKind.USED]
        oversize = [e for e in entries if e.kind is EntryKind.SIEVE and e not in through]
        cloth = through[0].reason if through else ""
        total = sum(e.kg for e in entries)
        found.append(SieveRun(f"{source} {at:%Y-%m-%d}", total, sum(e.kg for e in through),
                              sum(e.kg for e in oversize), cloth))  # fmt: skip
    return tuple(found)


@dataclass(frozen=True, slots=True)
class JudgedRun:
    """A sieve run with what it said about sieve and powder, and kg that its cloth had done by then."""

    material: str
    run: SieveRun
    cloth_kg: float
    findings: tuple[Finding, ...]


def judged_runs(books: Books, material: str, start: datetime, end: datetime) -> tuple[JudgedRun, ...]:
    """Sieve runs in [start, end), oldest first, each judged by the runs before it."""
    found = []
    runs = sieve_runs(books, material)
    for number, run in enumerate(runs):
        before = runs[:number]
        at = next(e.at for e in books.ledger.entries if f"{e.source} {e.at:%Y-%m-%d}" == run.run)
        if not start <= at < end:
            continue
        done = sum(r.in_kg for r in (*before, run) if r.cloth == run.cloth)
        worn = check_cloth(run.cloth, [*before, run], CLOTH_LIFE_KG.value) if run.cloth else None
        found.append(JudgedRun(material, run, done, (*check_sieve_run(run, before), *([worn] if worn else []))))
    return tuple(found)


def open_accounts(booking: Booking, *, by: str, at: datetime) -> None:
    """The accounts that every ledger has: where powder comes from and goes to."""
    for key, kind in ACCOUNTS.items():
        if key not in booking.ledger.containers:
            booking.add_container(Container(key, kind, ""), at=at, by=by)


def _work_out_again(booking: Booking, containers: set[str]) -> None:
    """Shares by lot of the builds whose parts hold powder that a correction touched."""
    facts = booking.books.facts
    parts = [k for k in containers if booking.ledger.containers[k].kind is ContainerKind.PARTS and k in facts]
    if not parts:
        return
    graph = trace(booking.ledger)
    there = [k for k in parts if k in graph.now]
    for key in set(parts) - set(there):  # the correction says that nothing was printed
        keep_shares(booking, key, {})
    for key, shares in zip(there, graph.compositions(there), strict=True):
        keep_shares(booking, key, dict(zip(graph.origins, (float(s) for s in shares), strict=True)))


def keep_shares(booking: Booking, parts: str, shares: Mapping[str, float]) -> None:
    """Keep what is in a build's parts for recall, from `SHARE_KEPT` up."""
    facts = booking.books.facts.get(parts)
    if facts is None or facts.plan is None or facts.build is None:
        return
    booking.keep_shares(facts.plan, facts.build, {o: s for o, s in shares.items() if s >= SHARE_KEPT.value})


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as wrong:
        raise InputError(f"{text!r} is no date", remedy="write 2027-12-31") from wrong
