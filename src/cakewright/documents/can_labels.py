"""Labels of drums and cans: eight to an A4 sheet, the code readable across the room, the QR code for the scanner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol
from urllib.parse import quote

from cakewright.documents.sheet import qr_svg, set_pdf
from cakewright.errors import InputError
from cakewright.powder.ledger import ContainerKind, Lot

_LONGEST = 60


class Labelled(Protocol):
    """What a label needs to know of a can."""

    @property
    def key(self) -> str:
        """Its code."""
        ...

    @property
    def kind(self) -> ContainerKind:
        """What it is for."""
        ...

    @property
    def material(self) -> str:
        """What is in it."""
        ...

    @property
    def lot(self) -> str | None:
        """Supplier lot of a virgin drum."""
        ...

    @property
    def note(self) -> str:
        """From which build or can."""
        ...


def can_id(key: str) -> str:
    """The plain text in the QR code of a can."""
    return f"cakewright:can/{quote(key, safe='')}"


def can_labels_pdf(cans: Sequence[Labelled], lots: Mapping[str, Lot]) -> bytes:
    """One label for each can as a PDF file, A4, 2 by 4 on a sheet, to be cut."""
    if not cans:
        raise InputError("no can is named", remedy="name at least one can")
    return set_pdf(
        "can_labels",
        {
            "title": "Can labels",
            "subtitle": "",
            "id": "cakewright:can-labels",
            "footer": "Can labels, cut along the lines. A can without a readable label is waste.",
            "labels": [_label(can, lots) for can in cans],
        },
    )


def _label(can: Labelled, lots: Mapping[str, Lot]) -> dict[str, str]:
    lot = lots.get(can.lot or "")
    use_by = f" · use by {lot.expires:%Y-%m-%d}" if lot and lot.expires else ""
    return {
        "code": can.key,
        "what": can.kind.value,
        "material": can.material,
        "lot": f"Lot {lot.supplier_lot}{use_by}" if lot else "",
        "note": (lot.storage if lot else can.note)[:_LONGEST],
        "qr": qr_svg(can_id(can.key)),
    }
