"""Keep quotes with their mesh, print them, and make order lists of those that were accepted."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

from cakewright.app.check_part import loose_line
from cakewright.app.inbox import ORDERS, PARTS, Inbox
from cakewright.app.quotes import is_expired, order_rows
from cakewright.documents.offer_sheet import offer_sheet_pdf
from cakewright.errors import CakewrightError, InputError, StoreError
from cakewright.formats.mesh_file import read_mesh, recover_mesh
from cakewright.model.cell import Cell
from cakewright.model.offer import Offer, OfferState
from cakewright.model.order import OrderLine
from cakewright.store import KeptOffer, Store

FOLDER = "quotes"


def keep_quote(
    store: Store, offer: Offer, file: Path, *, at: datetime, by: str, replaces: int | None = None
) -> KeptOffer:
    """Keep the offer and a copy of its mesh beside the database; with `replaces` as the next issue of that number."""
    folder = store.folder / FOLDER
    held = folder / f"{offer.file_sha256}{file.suffix.lower()}"
    if not held.exists():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            part = held.with_suffix(".part")
            shutil.copyfile(file, part)
            part.replace(held)
        except OSError as wrong:
            raise StoreError(f"{held} cannot be written: {wrong.strerror}", remedy="free some space") from wrong
    return store.save_offer(offer, at=at, by=by, replaces=replaces)


def mesh_of(store: Store, offer: Offer) -> Path | None:
    """The kept mesh file of an offer, None when it is not there any more."""
    found = sorted((store.folder / FOLDER).glob(f"{offer.file_sha256}.*"))
    return found[0] if found else None


def kept_mesh(store: Store, offer: Offer) -> Path:
    """The kept mesh file of an offer; StoreError when it was deleted."""
    held = mesh_of(store, offer)
    if held is None:
        raise StoreError(f"the mesh of {offer.file} is not in {FOLDER} any more", remedy="quote it with its file")
    return held


def again(store: Store, number: int, folder: Path, cell: Cell, *, quantity: int) -> tuple[Path, OrderLine]:
    """What it takes to quote a part of a kept quote once more: its mesh under its own name in `folder`, and the line.

    Material, finish, class and revision are those quoted then. StoreError when the mesh was deleted; CellError when
    the cell no longer has the material, finish or class.
    """
    offer = store.offer(number).offer
    file = folder / offer.file
    shutil.copyfile(kept_mesh(store, offer), file)
    line = loose_line(file, cell, offer.material, quantity=quantity, finish=offer.finish,
                      quality_class=offer.quality_class)  # fmt: skip
    return file, replace(line, part=offer.part, revision=offer.revision, customer=offer.customer)


def sheet_of(offer: Offer, key: str, cell: Cell, file: Path | None, *, made: date) -> bytes:
    """The quote sheet as a PDF file, with a picture when the mesh can be read."""
    mesh = None
    if file is not None:
        try:
            mesh = read_mesh(file)[0].mesh
        except CakewrightError:
            mesh = recover_mesh(file)[0].mesh
    return offer_sheet_pdf(offer, key, cell=cell.name, made=made, mesh=mesh)


def accept(store: Store, number: int, *, at: datetime, by: str, note: str = "") -> KeptOffer:
    """The customer says yes. InputError when the quote has expired or was answered already."""
    kept = store.offer(number)
    if is_expired(kept.offer, at.date()):
        raise InputError(
            f"{kept.key} held until {kept.offer.valid_until}", remedy="make a new issue of it and offer that"
        )
    return store.step_offer(number, OfferState.ACCEPTED, at=at, by=by, note=note)


def accepted(store: Store) -> tuple[KeptOffer, ...]:
    """Quotes that were accepted and are in no order list yet, oldest first."""
    return tuple(sorted((k for k in store.offers() if k.state is OfferState.ACCEPTED), key=lambda k: k.number))


def order_accepted(store: Store, inbox: Inbox, *, at: datetime, by: str) -> str:
    """A tray with an order list of every accepted quote and their meshes; its name. The quotes become 'ordered'."""
    offers = accepted(store)
    if not offers:
        raise InputError("no quote is accepted and waiting", remedy="accept one first")
    lost = [k.key for k in offers if mesh_of(store, k.offer) is None]
    if lost:
        raise StoreError(f"the mesh of {', '.join(lost)} is not in {FOLDER} any more", remedy="send the file again")
    tray = inbox.open_tray()
    for kept in offers:
        held = mesh_of(store, kept.offer)
        assert held is not None
        shutil.copyfile(held, inbox.tray(tray) / PARTS / kept.offer.file)
    text = order_rows(offers, received=at.date())
    (inbox.tray(tray) / ORDERS).write_text(text, encoding="utf-8-sig", newline="")
    for kept in offers:
        store.step_offer(kept.number, OfferState.ORDERED, at=at, by=by, note=f"tray {tray}")
    return tray
