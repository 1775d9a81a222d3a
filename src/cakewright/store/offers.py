"""Quotes in the store: each revision whole, each step with name and time, nothing changed afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, func, insert, select

from cakewright.errors import InputError, StoreError
from cakewright.model.offer import Offer, OfferState
from cakewright.store.plain import from_json, to_json
from cakewright.store.schema_offers import offer, offer_event

ALLOWED = {
    OfferState.OFFERED: {OfferState.ACCEPTED, OfferState.DECLINED, OfferState.REVISED},
    OfferState.ACCEPTED: {OfferState.ORDERED, OfferState.REVISED, OfferState.DECLINED},
    OfferState.DECLINED: {OfferState.REVISED},
    OfferState.REVISED: set(),
    OfferState.ORDERED: set(),
}


@dataclass(frozen=True, slots=True)
class OfferEvent:
    """One step of a quote."""

    state: OfferState
    at: datetime
    by: str
    note: str


@dataclass(frozen=True, slots=True)
class KeptOffer:
    """A quote as the store has it: `number` stays, `issue` counts its revisions, `events` oldest first."""

    number: int
    issue: int
    at: datetime
    by: str
    offer: Offer
    events: tuple[OfferEvent, ...]

    @property
    def state(self) -> OfferState:
        """Where it is now."""
        return self.events[-1].state

    @property
    def key(self) -> str:
        """Q0012 or Q0012-2 from the second issue on."""
        return f"Q{self.number:04d}" + (f"-{self.issue}" if self.issue > 1 else "")


def add_offer(link: Connection, content: Offer, *, at: datetime, by: str, replaces: int | None) -> tuple[int, int]:
    """Keep a quote and its first event; with `replaces` as the next issue of that number. Number and issue."""
    if replaces is None:
        number, issue = (link.scalar(select(func.max(offer.c.number))) or 0) + 1, 1
    else:
        newest = offer_of(link, replaces)
        number, issue = replaces, newest.issue + 1
        add_event(link, number, OfferState.REVISED, at=at, by=by, note=f"replaced by issue {issue}")
    row = {
        "number": number, "issue": issue, "customer": content.customer, "part": content.part,
        "file_sha256": content.file_sha256, "at": at, "by": by, "content": to_json(content),
    }  # fmt: skip
    link.execute(insert(offer), row)
    first = {"number": number, "issue": issue, "state": OfferState.OFFERED.value, "at": at, "by": by, "note": ""}
    link.execute(insert(offer_event), first)
    return number, issue


def add_event(link: Connection, number: int, state: OfferState, *, at: datetime, by: str, note: str) -> None:
    """The next step of the newest issue. InputError when it cannot follow the present one."""
    kept = offer_of(link, number)
    if state not in ALLOWED[kept.state]:
        raise InputError(f"{kept.key} is {kept.state}; it cannot become {state}", remedy="make a new issue of it")
    row = {"number": number, "issue": kept.issue, "state": state.value, "at": at, "by": by, "note": note[:500]}
    link.execute(insert(offer_event), row)


def offer_of(link: Connection, number: int, issue: int | None = None) -> KeptOffer:
    """One quote, its newest issue without `issue`; StoreError when there is none."""
    query = select(offer).where(offer.c.number == number).order_by(offer.c.issue.desc())
    if issue is not None:
        query = query.where(offer.c.issue == issue)
    row = link.execute(query.limit(1)).mappings().one_or_none()
    if row is None:
        raise StoreError(f"there is no quote Q{number:04d}", remedy="choose one from the list of quotes")
    where = (offer_event.c.number == number) & (offer_event.c.issue == row["issue"])
    events = link.execute(select(offer_event).where(where).order_by(offer_event.c.id)).mappings()
    return KeptOffer(
        number,
        row["issue"],
        row["at"],
        row["by"],
        from_json(Offer, row["content"]),
        tuple(OfferEvent(OfferState(e["state"]), e["at"], e["by"], e["note"]) for e in events),
    )


def offers_of(link: Connection) -> tuple[KeptOffer, ...]:
    """The newest issue of every quote, newest first."""
    numbers = link.scalars(select(offer.c.number).distinct().order_by(offer.c.number.desc())).all()
    return tuple(offer_of(link, n) for n in numbers)
