"""Tiny named powder worlds shared by the powder tests."""

from datetime import UTC, date, datetime, timedelta

from cakewright.powder.ledger import Container, ContainerKind, EntryKind, Ledger, Lot

MONDAY = datetime(2027, 3, 1, 6, 40, tzinfo=UTC)
GREY = "PA12 grey"


def at(minute: int) -> datetime:
    """So many minutes after Monday 06:40."""
    return MONDAY + timedelta(minutes=minute)


def small_cell() -> Ledger:
    """Two lots in two drums, three used cans, a machine, a parts box for each of two builds."""
    ledger = Ledger()
    for key in ("V-7712", "V-7740"):
        ledger.add_lot(
            Lot(key, GREY, f"S{key}", date(2027, 1, 11), certificate=f"{key}.pdf", expires=date(2028, 1, 31))
        )
    kinds = ContainerKind
    for key, kind, material, lot in [
        ("supplier", kinds.SUPPLIER, "", None),
        ("opening stock", kinds.FOUND, "", None),
        ("missing", kinds.MISSING, "", None),
        ("waste", kinds.WASTE, "", None),
        ("D1", kinds.VIRGIN, GREY, "V-7712"),
        ("D2", kinds.VIRGIN, GREY, "V-7740"),
        ("C1", kinds.USED, GREY, None),
        ("C2", kinds.USED, GREY, None),
        ("C3", kinds.USED, GREY, None),
        ("M1", kinds.CHARGE, GREY, None),
        ("parts B1", kinds.PARTS, GREY, None),
        ("parts B2", kinds.PARTS, GREY, None),
    ]:
        ledger.add_container(Container(key, kind, material, lot=lot))
    return ledger


def stocked_cell() -> Ledger:
    """The small cell with 10 kg in each drum and 8 kg of used powder of unknown origin in C1."""
    ledger = small_cell()
    ledger.move(at=at(0), source="supplier", target="D1", kg=10, who="Mira", kind=EntryKind.RECEIVE)
    ledger.move(at=at(0), source="supplier", target="D2", kg=10, who="Mira", kind=EntryKind.RECEIVE)
    ledger.move(at=at(0), source="opening stock", target="C1", kg=8, who="Mira", reason="stock at the start")
    return ledger
