"""Booking powder at the bench: one form for each deed; a code is scanned or typed, a refusal keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import FormData

from cakewright.app import powder_deeds as deeds
from cakewright.app import powder_goods_in as goods_in
from cakewright.app.powder_books import code_of, look
from cakewright.errors import CakewrightError, InputError
from cakewright.model.goods_in import UNITS, Decision, LotProperty, Origin
from cakewright.web.look import page
from cakewright.web.powder import By, Plans, shown
from cakewright.web.shelf import Shelf

router = APIRouter(include_in_schema=False, prefix="/powder")
DEEDS = {  # address: (word on the button, what it is for)
    "weigh": ("Weigh in", "Put a can on the scale; a difference needs a name."),
    "move": ("Pour", "From one can into another."),
    "sieve": ("Sieve", "A can through the sieve: into a used can, oversize to waste."),
    "waste": ("Waste", "Out of the loop, with its cause."),
    "flow": ("Melt flow", "A measured melt flow pulls what is believed about a can."),
    "receive": ("Delivery", "A supplier lot in drums."),
    "open": ("Open a drum", "Not while water would settle on cold powder."),
    "file": ("File", "Certificate, storage place or new date of a lot."),
    "value": ("Lot value", "Melt flow, density, moisture, size: from the certificate or your own test."),
    "limit": ("Own limits", "What a delivered lot must keep to; outside it waits on hold."),
    "decide": ("Decide on a lot", "Free, on hold or rejected, with the reason."),
    "can": ("New can", "With the next free code; its label goes on first."),
    "label": ("Label lost", "From then on the can is waste."),
    "correct": ("Correct", "A new entry that puts an old one right, with the reason."),
}
Said = dict[str, str]
Choice = TypeVar("Choice", bound=StrEnum)


async def posted(request: Request) -> Said:
    """The fields of a form as text; files are refused."""
    form: FormData = await request.form(max_files=0, max_fields=60)
    return {key: str(value)[:300] for key, value in form.items()}


@router.get("/book")
def book(shelf: Plans, request: Request, by: By = "", said: Annotated[str, Query(max_length=300)] = "") -> HTMLResponse:
    """Which deed?"""
    return page(request, "powder_book.html", **shown(shelf, "/book", by), deeds=DEEDS, said=said)


@router.get("/book/{deed}")
def form(shelf: Plans, request: Request, deed: str, by: By = "", can: Annotated[str, Query(max_length=80)] = "",
         entry: Annotated[str, Query(max_length=12)] = "") -> HTMLResponse:  # fmt: skip
    """The form of one deed."""
    return _form(shelf, request, _known(deed), {"by": by, "can": can, "number": entry}, "")


@router.post("/book/{deed}")
def do(shelf: Plans, request: Request, deed: str, given: Annotated[Said, Depends(posted)]) -> Response:
    """Do it; after a refusal the form comes back with what was typed and with what is wrong."""
    try:
        told = _DO[_known(deed)](shelf, given)
    except CakewrightError as wrong:
        return _form(shelf, request, deed, given, wrong.text, status=422)
    back = urlencode({"by": given.get("by", ""), "said": told})
    return RedirectResponse(f"/powder/book?{back}", status_code=303)


def _form(shelf: Shelf, request: Request, deed: str, given: Said, wrong: str, status: int = 200) -> HTMLResponse:
    view = look(shelf.store)
    word, purpose = DEEDS[deed]
    entry = None
    if given.get("number", "").isdigit() and 0 < int(given["number"]) <= len(view.ledger.entries):
        entry = view.ledger.entries[int(given["number"]) - 1]
    plan = shown(shelf, "/book", given.get("by", ""))
    known = [m.name for m in plan["plan"].cell.materials] if plan.get("plan") else list(view.materials())
    return page(
        request, "powder_deed.html", status=status, **plan, deed=deed, word=word, purpose=purpose, given=given,
        wrong=wrong, codes=[] if view.is_empty else [c.key for c in view.shelf(with_empty=True)],
        lots=sorted(view.ledger.lots), materials=known, entry=entry,
        properties=[(str(p), UNITS[p]) for p in LotProperty],
        origins=[str(o) for o in Origin], decisions=[str(d) for d in Decision],
    )  # fmt: skip


def _known(deed: str) -> str:
    if deed not in DEEDS:
        raise InputError(f"there is no deed {deed!r}", remedy=f"choose one of: {', '.join(DEEDS)}")
    return deed


def _weigh(shelf: Shelf, said: Said) -> str:
    entry = deeds.weigh_in(shelf.store, _code(shelf, said, "can"), number(said, "kg"), reason=said.get("reason", ""),
                           **_who(shelf, said))  # fmt: skip
    return "Scale and books agree." if entry is None else f"Entry {entry.number}: {entry.kg:.3f} kg to {entry.target}."


def _move(shelf: Shelf, said: Said) -> str:
    entry = deeds.move(shelf.store, said.get("can", ""), said.get("target", ""), number(said, "kg", may_lack=True),
                       reason=said.get("reason", ""), **_who(shelf, said))  # fmt: skip
    return f"Entry {entry.number}: {entry.kg:.3f} kg from {entry.source} into {entry.target}."


def _sieve(shelf: Shelf, said: Said) -> str:
    into, findings = deeds.sieve(
        shelf.store, said.get("can", ""), through_kg=number(said, "through"), oversize_kg=number(said, "oversize"),
        target=said.get("target") or None, cloth=said.get("cloth", ""), **_who(shelf, said),
    )  # fmt: skip
    return " ".join([f"Sieved into {into}.", *(f"{f.severity.value}: {f.text}" for f in findings)])


def _waste(shelf: Shelf, said: Said) -> str:
    entry = deeds.discard(shelf.store, said.get("can", ""), number(said, "kg", may_lack=True),
                          reason=said.get("reason", ""), **_who(shelf, said))  # fmt: skip
    return f"Entry {entry.number}: {entry.kg:.3f} kg from {entry.source} to waste."


def _flow(shelf: Shelf, said: Said) -> str:
    deeds.measure_flow(shelf.store, said.get("can", ""), number(said, "flow"), note=said.get("reason", ""),
                       **_who(shelf, said))  # fmt: skip
    seen = look(shelf.store).can(_code(shelf, said, "can"))
    low, high = seen.flow_range or (0.0, 0.0)
    return f"{seen.key}: now {seen.flow or 0:.1f} g/10 min, with 90 % confidence {low:.1f} to {high:.1f}."


def _receive(shelf: Shelf, said: Said) -> str:
    drums = [text for text in said.get("drums", "").replace(";", " ").split() if text]
    got = deeds.receive_lot(
        shelf.store, material=said.get("material", ""), supplier_lot=said.get("lot", ""),
        drums_kg=[number({"drums": d}, "drums") for d in drums], certificate=said.get("certificate", ""),
        expires=_day(said, "expires"), storage=said.get("storage", ""),
        melt_flow=number(said, "flow", may_lack=True), **_who(shelf, said),
    )  # fmt: skip
    return f"Lot {got.lot} in {', '.join(got.drums)}. Print the labels now."


def _open(shelf: Shelf, said: Said) -> str:
    drum = _code(shelf, said, "can")
    deeds.open_drum(
        shelf.store, drum, powder_c=number(said, "powder_c"), room_c=number(said, "room_c"),
        relative_humidity=number(said, "humidity") / 100, **_who(shelf, said),
    )  # fmt: skip
    return f"{drum} is open."


def _file(shelf: Shelf, said: Said) -> str:
    what = said.get("what", "")
    deeds.file_lot(shelf.store, said.get("lot", ""), what, said.get("value", ""), reason=said.get("reason", ""),
                   **_who(shelf, said))  # fmt: skip
    return f"Lot {said.get('lot', '')}: {what} filed."


def _value(shelf: Shelf, said: Said) -> str:
    lot, what = said.get("lot", ""), _one_of(LotProperty, said, "what")
    judged = goods_in.note_lot_value(shelf.store, lot, what, number(said, "value"),
                                     origin=_one_of(Origin, said, "origin"), **_who(shelf, said))  # fmt: skip
    held = f" The lot is {judged.decision}: {judged.why}." if judged.decision is not Decision.FREE else ""
    return f"Lot {lot}: {what} kept.{held}"


def _limit(shelf: Shelf, said: Said) -> str:
    what = _one_of(LotProperty, said, "what")
    goods_in.set_lot_limits(
        shelf.store, said.get("material", ""), what, low=number(said, "low", may_lack=True),
        high=number(said, "high", may_lack=True), reason=said.get("reason", ""), **_who(shelf, said),
    )  # fmt: skip
    return f"{said.get('material', '')}: limits of {what} kept for the lots to come."


def _decide(shelf: Shelf, said: Said) -> str:
    judged = goods_in.decide_lot(shelf.store, said.get("lot", ""), _one_of(Decision, said, "decision"),
                                 reason=said.get("reason", ""), **_who(shelf, said))  # fmt: skip
    return f"Lot {judged.lot.key} is {judged.decision}."


def _one_of(kind: type[Choice], said: Said, field: str) -> Choice:
    text = said.get(field, "")
    if text not in list(kind):
        raise InputError(f"{text!r} is not known", remedy=f"choose one of: {', '.join(kind)}", where=field)
    return kind(text)


def _can(shelf: Shelf, said: Said) -> str:
    who = _who(shelf, said)
    code = deeds.make_can(
        shelf.store, material=said.get("material", ""), capacity_kg=number(said, "size", may_lack=True), **who
    )
    holds = number(said, "holds", may_lack=True)
    if holds:
        seen = number(said, "builds_seen", may_lack=True)
        deeds.opening_stock(shelf.store, code, holds, builds_seen=None if seen is None else round(seen), **who)
    return f"{code}: print its label and put it on."


def _label(shelf: Shelf, said: Said) -> str:
    code = _code(shelf, said, "can")
    if said.get("found"):
        deeds.find_label(shelf.store, code, reason=said.get("reason", ""), **_who(shelf, said))
        return f"{code} has its label again."
    deeds.lose_label(shelf.store, code, reason=said.get("reason", ""), **_who(shelf, said))
    return f"{code} has no label: waste."


def _correct(shelf: Shelf, said: Said) -> str:
    entry = deeds.correct(shelf.store, round(number(said, "number")), number(said, "kg"),
                          reason=said.get("reason", ""), **_who(shelf, said))  # fmt: skip
    return f"Entry {entry.number} corrects entry {entry.corrects} by {entry.kg:+.3f} kg."


_DO: dict[str, Callable[[Shelf, Said], str]] = {
    "weigh": _weigh, "move": _move, "sieve": _sieve, "waste": _waste, "flow": _flow, "receive": _receive,
    "open": _open, "file": _file, "value": _value,
    "limit": _limit, "decide": _decide, "can": _can, "label": _label, "correct": _correct,
}  # fmt: skip


def _who(shelf: Shelf, said: Said) -> dict[str, Any]:
    by = said.get("by", "").strip()
    if not by:
        raise InputError("nobody's name is given", remedy="choose your name: every entry is kept with it", where="by")
    when: datetime = shelf.clock()
    return {"by": by, "at": when}


def _code(shelf: Shelf, said: Said, field: str) -> str:
    return code_of(look(shelf.store).ledger, said.get(field, ""))


def number(said: Said, field: str, *, may_lack: bool = False) -> Any:
    """A number of a form, comma or point; None for an empty field that may be empty."""
    text = said.get(field, "").strip()
    if not text and may_lack:
        return None
    try:
        return float(text.replace(",", "."))
    except ValueError as wrong:
        raise InputError(
            f"{text!r} is no number", remedy="type what the scale shows, such as 7.98", where=field
        ) from wrong


def _day(said: Said, field: str) -> date | None:
    text = said.get(field, "").strip()
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as wrong:
        raise InputError(f"{text!r} is no date", remedy="write 2027-12-31", where=field) from wrong
