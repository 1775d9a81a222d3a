"""The powder books as people ask for them: what is where, how old, from which lots."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches
from functools import cached_property
from threading import Lock
from urllib.parse import unquote
from weakref import WeakKeyDictionary

import numpy as np

from cakewright.errors import InputError
from cakewright.model.cell import Cell
from cakewright.powder.blend import Can
from cakewright.powder.flow import FlowState
from cakewright.powder.flow_history import FlowPoint, flow_beliefs
from cakewright.powder.genealogy import FloatArray, Genealogy, trace
from cakewright.powder.ledger import Container, ContainerKind, Ledger
from cakewright.sources.powder import SHARE_KEPT
from cakewright.store import Store
from cakewright.store.powder import Books

KEEP_AGES = 8  # the last column of an age distribution: so many builds or more, or not known
SCANNED = "cakewright:can/"
CODE_OF = {
    ContainerKind.VIRGIN: "V",
    ContainerKind.USED: "U",
    ContainerKind.BLEND: "M",
    ContainerKind.CAKE: "C",
    ContainerKind.OVERFLOW: "O",
    ContainerKind.CRUST: "K",
    ContainerKind.OVERSIZE: "S",
}
SUPPLIER, OPENING, FOUND, MISSING, WASTE = (
    "supplier", "stock at the start", "found by weighing", "missing", "waste",
)  # fmt: skip
ACCOUNTS = {
    SUPPLIER: ContainerKind.SUPPLIER,
    OPENING: ContainerKind.FOUND,
    FOUND: ContainerKind.FOUND,
    MISSING: ContainerKind.MISSING,
    WASTE: ContainerKind.WASTE,
}
ON_THE_SHELF = tuple(CODE_OF)


@dataclass(frozen=True, slots=True)
class CanView:
    """A container as a page shows it. `lots` are (origin, share), most first; ages (KEEP_AGES + 1,)."""

    key: str
    kind: ContainerKind
    material: str
    kg: float
    is_labelled: bool
    lot: str | None
    lots: tuple[tuple[str, float], ...]
    ages: tuple[float, ...]
    mean_age: float
    dose_h: float
    flow: float | None
    flow_range: tuple[float, float] | None
    since: date
    capacity_kg: float | None
    build: str
    note: str

    @property
    def unknown_share(self) -> float:
        """Share that is old beyond counting, or of which nobody knows the age."""
        return self.ages[-1]

    @property
    def age_words(self) -> str:
        """Mean builds seen, or what hides it: '1.4', 'at least 3.2', 'not known'."""
        if self.unknown_share > 0.5:
            return "not known"
        return f"at least {self.mean_age:.1f}" if self.unknown_share > 0.01 else f"{self.mean_age:.1f}"


@dataclass(frozen=True, slots=True)
class MaterialStock:
    """What is there of one material, kg. `blocked_kg` may not be used as it is, and why."""

    material: str
    virgin_kg: float
    used_kg: float
    to_sieve_kg: float
    blended_kg: float
    in_machines_kg: float
    set_apart_kg: float
    blocked_kg: float
    blocked_why: tuple[str, ...]

    @property
    def ready_kg(self) -> float:
        """Used powder for coming builds: sieved, blended, or waiting for the sieve."""
        return round(self.used_kg + self.to_sieve_kg + self.blended_kg, 3)


class PowderView:
    """One state of the books with everything that follows from it, worked out when asked."""

    def __init__(self, books: Books) -> None:
        self.books = books

    @property
    def ledger(self) -> Ledger:
        """The ledger."""
        return self.books.ledger

    @property
    def is_empty(self) -> bool:
        """True before the first movement."""
        return not self.ledger.entries

    @cached_property
    def graph(self) -> Genealogy:
        """Composition and age; InputError while nothing was booked."""
        return trace(self.ledger)

    @cached_property
    def flows(self) -> dict[str, FlowState]:
        """Belief about melt flow of every container ever filled."""
        points = [FlowPoint(r.after_entry, r.container, r.melt_flow, r.relative_sigma) for r in self.books.readings]
        return flow_beliefs(self.ledger, self.books.certificate_flow, points)

    @cached_property
    def _ages(self) -> FloatArray:
        return self.graph.ages(KEEP_AGES)

    @cached_property
    def _doses(self) -> Mapping[str, float]:
        return self.graph.dose_h()

    def can(self, key: str) -> CanView:
        """One container."""
        container = self.ledger.container(key)
        facts = self.books.facts[key]
        known = key in self.graph.now if not self.is_empty else False
        lots = self.graph.composition(key) if known else {}
        ages = self._ages[self.graph.now[key]] if known else np.zeros(KEEP_AGES + 1)
        belief = self.flows.get(key)
        return CanView(
            key=key,
            kind=container.kind,
            material=container.material,
            kg=self.ledger.kg(key),
            is_labelled=container.is_labelled,
            lot=container.lot,
            lots=tuple(sorted(lots.items(), key=lambda pair: (-pair[1], pair[0]))),
            ages=tuple(float(a) for a in ages),
            mean_age=float(ages @ np.arange(KEEP_AGES + 1)),
            dose_h=self._doses.get(key, 0.0) if known else 0.0,
            flow=belief.flow if belief else None,
            flow_range=belief.interval() if belief else None,
            since=facts.at.date(),
            capacity_kg=container.capacity_kg,
            build=facts.build or "",
            note=facts.note,
        )

    def shelf(self, material: str | None = None, *, with_empty: bool = False) -> tuple[CanView, ...]:
        """Every drum, can and blend that holds powder, by kind and code."""
        keys = [
            c.key
            for c in self.ledger.containers.values()
            if c.kind in ON_THE_SHELF
            and (material is None or c.material == material)
            and (with_empty or self.ledger.kg(c.key) > 0)
        ]
        order = list(ON_THE_SHELF)
        return tuple(sorted((self.can(k) for k in keys), key=lambda v: (v.material, order.index(v.kind), v.key)))

    def to_label(self) -> tuple[CanView, ...]:
        """Cans that need a label: those with powder, and new ones that were never filled."""
        filled = {e.target for e in self.ledger.entries}
        return tuple(can for can in self.shelf(with_empty=True) if can.kg > 0 or can.key not in filled)

    def materials(self) -> tuple[str, ...]:
        """Every material in the books."""
        return tuple(sorted({c.material for c in self.ledger.containers.values() if c.material}))

    def blocked(self, container: Container, today: date) -> str | None:
        """Why nothing may be taken out of a container except to waste; None when it may be used."""
        if not container.is_labelled:
            return f"{container.key} has no label: waste"
        if container.lot is None:
            return None
        lot = self.ledger.lot(container.lot)
        if lot.hold:
            return f"{container.key}: lot {lot.key} is {lot.hold}"
        if not lot.certificate.strip():
            return f"{container.key}: lot {lot.key} has no certificate"
        if lot.expires is not None and today > lot.expires:
            return f"{container.key}: lot {lot.key} was to be used by {lot.expires:%Y-%m-%d}"
        return None

    def stock(self, material: str, today: date) -> MaterialStock:
        """What is there of a material, and what of it may not be used."""
        held = self.ledger.grams()
        grams: defaultdict[ContainerKind, int] = defaultdict(int)
        blocked, why = 0, list[str]()
        for c in self.ledger.containers.values():
            there = held[c.key]
            if c.material != material or there <= 0 or c.kind in ACCOUNTS.values():
                continue
            reason = self.blocked(c, today)
            if reason:
                blocked, why = blocked + there, [*why, reason]
            else:
                grams[c.kind] += there
        k = ContainerKind
        kg = {kind: grams[kind] / 1000 for kind in ContainerKind}
        return MaterialStock(
            material,
            kg[k.VIRGIN],
            kg[k.USED],
            (grams[k.CAKE] + grams[k.OVERFLOW]) / 1000,
            kg[k.BLEND],
            kg[k.CHARGE],
            kg[k.CRUST] + kg[k.OVERSIZE],
            blocked / 1000,
            tuple(why),
        )

    def for_blending(self, material: str, today: date) -> tuple[Can, ...]:
        """Virgin drums, used cans and free blends of a material that may be used, as the blend program sees them."""
        found = []
        for view in self.shelf(material):
            container = self.ledger.containers[view.key]
            if view.kind not in (ContainerKind.VIRGIN, ContainerKind.USED, ContainerKind.BLEND):
                continue
            if (view.kind is ContainerKind.BLEND and view.build) or self.blocked(container, today):
                continue
            lots = frozenset(origin for origin, share in view.lots if share >= SHARE_KEPT.value)
            is_virgin = view.kind is ContainerKind.VIRGIN
            flow = view.flow if view.flow is not None else 0.0
            found.append(Can(view.key, material, view.kg, is_virgin, flow, view.mean_age, lots, view.since))
        return tuple(found)


_SEEN: WeakKeyDictionary[Store, PowderView] = WeakKeyDictionary()
_LOCK = Lock()


def look(store: Store) -> PowderView:
    """The books of a store as they are now; worked out once and kept until something is added."""
    mark = store.powder.mark()
    with _LOCK:
        seen = _SEEN.get(store)
        if seen is None or seen.books.mark != mark:
            seen = _SEEN[store] = PowderView(store.powder.read())
        return seen


def code_of(ledger: Ledger, text: str) -> str:
    """The container meant by a scanned or typed code; InputError naming the nearest ones."""
    typed = unquote(text.strip().removeprefix(SCANNED)).strip()
    by_folded = {key.casefold(): key for key in ledger.containers}
    if typed.casefold() in by_folded:
        return by_folded[typed.casefold()]
    near = [by_folded[k] for k in get_close_matches(typed.casefold(), by_folded, n=3)]
    raise InputError(
        f"there is no container {typed!r}" if typed else "no container is named",
        remedy=f"did you mean {' or '.join(near)}?" if near else "scan its label again, or make the can first",
        where="container",
    )


def free_code(ledger: Ledger, kind: ContainerKind) -> str:
    """The next unused short code for a container of a kind: 'U08'."""
    letter = CODE_OF[kind]
    used = [int(k[1:]) for k in ledger.containers if k[:1] == letter and k[1:].isdigit()]
    return f"{letter}{max(used, default=0) + 1:02d}"


def known_material(cell: Cell, material: str) -> str:
    """The material as the cell writes it; CellError when it has none of that name."""
    return cell.material(material).name
