"""A part that was made before under whatever name and turn: what it cost, how much of it came out good, what was wrong.

The shape decides, by its signature; the name only makes suspicious when it is equal and the shape is not.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from cakewright.app.intake import read_part
from cakewright.app.keep_quotes import FOLDER
from cakewright.app.part_records import records_in
from cakewright.errors import StoreError
from cakewright.findings import Severity
from cakewright.model.cell import Cell
from cakewright.model.floor import FloorKind
from cakewright.model.offer import Offer
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.parts.revisions import Known, check_revision
from cakewright.parts.signature import METHOD, Signature, is_same_part, numbers_of, signature, signature_from
from cakewright.store import PieceState, Store, last_words


@dataclass(frozen=True, slots=True)
class MadeBefore:
    """One line of an earlier plan with the same shape.

    `found`, `broken` and `missing` count pieces of which somebody spoke at the break-out; `cost` is that of the line,
    before margin; `asked` are prices per piece in quotes for it with their day; `wrong` are nonconformances in words.
    """

    plan: int
    line: int
    title: str
    customer: str
    quantity: int
    seen: datetime
    found: int
    broken: int
    missing: int
    cost: float | None
    asked: tuple[tuple[str, float], ...]
    wrong: tuple[str, ...]

    @property
    def good_share(self) -> float | None:
        """Share of the pieces spoken of that came out whole; None when nobody spoke."""
        spoken = self.found + self.broken + self.missing
        return self.found / spoken if spoken else None


@dataclass(frozen=True, slots=True)
class EarlierPart:
    """What is known about the part of a quote: lines that had its shape, and contradictions between name and shape."""

    lines: tuple[MadeBefore, ...]
    doubts: tuple[str, ...]


def earlier_part(
    store: Store, offer: Offer, plan_of: Callable[[int], WeekPlan], shows: Callable[[str], bool]
) -> EarlierPart:
    """Search every shape that a plan was made with; lines of customers that may not be seen are left out.

    Nothing is known of a quote whose shape was not kept (made before shapes of quotes were kept).
    """
    kept = _place(store, offer.file_sha256)
    if not kept.exists():
        return EarlierPart((), ())
    shape = signature_from(np.load(kept, allow_pickle=False))
    return EarlierPart(tuple(_made(store, offer, shape, plan_of, shows)), tuple(_contradictions(store, offer, shape)))


def _contradictions(store: Store, offer: Offer, shape: Signature) -> Iterator[str]:
    """Parts that are called the same, by name or by file, and have another shape."""
    shapes = {sha: signature_from(row) for sha, row in store.parts.signatures(METHOD).items()}
    for seen in store.parts.seen():
        is_called_so = _plain(seen.name) == _plain(offer.part) or _plain(seen.file) == _plain(offer.file)
        if not is_called_so or seen.mesh_sha256 not in shapes:
            continue
        old = Known(seen.name, seen.revision, seen.file_sha256, f"{seen.file}, plan {seen.plan}, {seen.at:%Y-%m-%d}",
                    shapes[seen.mesh_sha256])  # fmt: skip
        new = Known(seen.name, seen.revision, offer.file_sha256, "this quote", shape)
        yield from (f.text for f in check_revision(new, [old], offer.file) if f.severity is Severity.WARNING)


def _plain(name: str) -> str:
    """A name as it is read aloud: small letters, dashes and underlines as blanks."""
    return " ".join(re.split(r"[\s_-]+", name.casefold()))


def keep_shape(store: Store, offer: Offer, file: Path, line: OrderLine, cell: Cell) -> None:
    """Keep the signature of a quoted part beside its mesh, and those of all parts that plans were made with.

    For a worker: the file is a stranger's. StoreError when it cannot be written.
    """
    place = _place(store, offer.file_sha256)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        np.save(place, numbers_of(signature(read_part(line, cell, file).mesh)))
    except OSError as wrong:
        raise StoreError(f"{place} cannot be written: {wrong.strerror}", remedy="free some space") from wrong
    records_in(store)


def _place(store: Store, file_sha256: str) -> Path:
    return store.folder / FOLDER / f"shape-{METHOD}-{file_sha256}.npy"


def _made(
    store: Store, offer: Offer, shape: Signature, plan_of: Callable[[int], WeekPlan], shows: Callable[[str], bool]
) -> list[MadeBefore]:
    shapes = {sha: signature_from(row) for sha, row in store.parts.signatures(METHOD).items()}
    same = [s for s in store.parts.seen() if s.mesh_sha256 in shapes and is_same_part(shapes[s.mesh_sha256], shape)]
    quotes = [k for k in store.offers() if shows(k.offer.customer)]
    found = []
    for seen in same:
        plan = plan_of(seen.plan)
        hashes = {seen.file_sha256, offer.file_sha256}
        asked = tuple((f"{k.at:%Y-%m-%d}", float(k.offer.likely) / k.offer.quantity) for k in quotes
                      if k.offer.file_sha256 in hashes and k.offer != offer)  # fmt: skip
        for line in plan.orders.lines:
            part = plan.parts.get(plan.part_of_line.get(line.line, ""))
            is_this = part is not None and part.origin.sha256 == seen.file_sha256
            if not is_this or not shows(line.customer) or (line.part, line.revision) != (seen.name, seen.revision):
                continue
            states = _states(store, plan, line.line)
            cost = next((c.total for c in plan.costs if c.line == line.line), None)
            found.append(MadeBefore(
                plan.version, line.line, line.title, line.customer, line.quantity, seen.at,
                states.count(PieceState.FOUND), states.count(PieceState.BROKEN), states.count(PieceState.MISSING),
                cost, asked, _wrong(store, plan, line.line),
            ))  # fmt: skip
    return found


def _states(store: Store, plan: WeekPlan, line: int) -> list[PieceState]:
    """The last word about each piece of a line that somebody spoke of."""
    said = [
        record.state
        for build in plan.builds_of(line)
        for record in last_words(store.piece_records(plan.version, build.key)).values()
        if record.piece in {p.piece for p in build.pieces_of(line)}
    ]
    return said


def _wrong(store: Store, plan: WeekPlan, line: int) -> tuple[str, ...]:
    """Nonconformances of the pieces of a line, newest first."""
    mine = {p.piece for b in plan.builds_of(line) for p in b.pieces_of(line)}
    kept = store.floor.records(plan=plan.version, kind=FloorKind.MISTAKE)
    return tuple(f"{r.piece}: {r.data['what']} ({r.at:%Y-%m-%d})" for r in reversed(kept) if r.piece in mine)
