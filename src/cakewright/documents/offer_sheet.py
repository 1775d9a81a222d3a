"""The quote sheet of one offer: what, for how much, when, what it rests on, and what is still to settle. A4."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from cakewright.documents.render import Shape, draw
from cakewright.documents.sections import Block, facts, heading, signatures, table, words
from cakewright.documents.sheet import picture_svg, set_pdf
from cakewright.model.mesh import Mesh
from cakewright.model.offer import Offer
from cakewright.safety import CLOSING

_GREY = (0.78, 0.78, 0.78)
_ROWS = (("", "1.6fr"), ("full mixed builds", "1fr"), ("in the plan", "1fr"), ("builds of its own", "1fr"))
_BREAKS = (("Pieces", "auto"), ("Each", "1fr"), ("All", "1fr"), ("Builds", "auto"), ("", "1.4fr"))


def offer_sheet_pdf(offer: Offer, key: str, *, cell: str, made: date, mesh: Mesh | None = None) -> bytes:
    """The sheet as a PDF file. `key` such as Q0012-2, `cell` the name of the place, `mesh` for a picture."""
    return set_pdf("letter", _data(offer, key, cell, made, mesh))


def _data(offer: Offer, key: str, cell: str, made: date, mesh: Mesh | None) -> dict[str, Any]:
    blocks: list[Block] = [
        facts(
            ("For", offer.customer or "____________"),
            ("Valid until", f"{offer.valid_until:%Y-%m-%d}"),
            ("Price", _money(offer.likely, offer)),
            ("Each", _money(offer.likely / offer.quantity, offer)),
        ),
        heading("What"),
        _what(offer, mesh),
        heading("When"),
        words(*_when(offer)),
        heading("What it is made of"),
        _breakdown(offer),
        words(
            f"Cost before margin ({offer.margin:.0%}). The price lies between {_money(offer.low, offer)} in full mixed "
            f"builds and {_money(offer.high, offer)} in builds of its own."
        ),
    ]
    if offer.breaks:
        blocks += [heading("Other quantities"), _quantities(offer)]
    blocks += [heading("What this rests on"), words(*(f"·  {text}" for text in offer.assumptions))]
    if offer.doubts:
        blocks += [heading("What was noticed in the file"), words(*(f"·  {text}" for text in offer.doubts))]
    still = f"Still to settle ({offer.completeness:.0%} of what a purchase of parts should state is known)"
    blocks += [heading(still), words(*(f"□  {q}" for q in offer.questions))]
    blocks.append(signatures("Offered by · date", "Accepted by · date"))
    return {
        "title": f"Quote · {cell}",
        "subtitle": key,
        "id": f"cakewright:offer/{key}",
        "footer": f"{cell} · quote {key} · {made:%Y-%m-%d} · cakewright {offer.program}",
        "lead": None,
        "stop": [],
        "closing": CLOSING,
        "blocks": blocks,
    }


def _what(offer: Offer, mesh: Mesh | None) -> Block:
    x, y, z = offer.size_mm
    title = " rev ".join(t for t in (offer.part, offer.revision) if t)
    said = (
        f"{offer.quantity} × {title}\n{offer.material} · {offer.finish} · class {offer.quality_class}\n"
        f"{x:.1f} × {y:.1f} × {z:.1f} mm, {offer.volume_cm3:.2f} cm³\n{offer.file}\nsha256 {offer.file_sha256[:16]}…"
    )
    picture: Any = ""
    if mesh is not None:
        picture = {"svg": picture_svg(draw([Shape("part", mesh, _GREY)], "corner", 320)), "mm": 34.0}
    return table((("", "auto"), ("", "1fr")), [[picture, said]])


def _when(offer: Offer) -> list[str]:
    said = [offer.feasible]
    said.append(f"Ready {offer.ready:%A %Y-%m-%d}." if offer.ready else "No date in this calendar.")
    if offer.p50 and offer.p90:
        said.append(f"In half of the simulated weeks by {offer.p50:%Y-%m-%d}, in nine of ten by {offer.p90:%Y-%m-%d}.")
    if offer.rush_surcharge:
        said.append(f"Taking it at once costs others {_money(offer.rush_surcharge, offer)}: {offer.rush_reason}.")
    said.append("Dates are forecasts from the plan of the day on which this was made.")
    return said


def _breakdown(offer: Offer) -> Block:
    rows = [[r.what, _plain(r.shared), _plain(r.in_plan), _plain(r.alone)] for r in offer.rows]
    sums = [sum((r.shared for r in offer.rows), Decimal(0)), sum((r.alone for r in offer.rows), Decimal(0))]
    inside = [r.in_plan for r in offer.rows if r.in_plan is not None]
    total = sum(inside, Decimal(0)) if inside else None
    return table(_ROWS, [*rows, [f"together, {offer.currency}", _plain(sums[0]), _plain(total), _plain(sums[1])]])


def _quantities(offer: Offer) -> Block:
    rows = [
        [str(b.quantity), _plain(b.unit), _plain(b.total), str(b.builds), "worth asking for" if b.is_break else ""]
        for b in offer.breaks
    ]
    return table(_BREAKS, rows)


def _plain(amount: Decimal | None) -> str:
    return "no room" if amount is None else f"{amount:,.2f}"


def _money(amount: Decimal, offer: Offer) -> str:
    return f"{amount:,.2f} {offer.currency}"
