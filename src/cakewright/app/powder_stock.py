"""What the ledger holds when a week is planned takes the place of the stock in the cell file."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

from cakewright.app.powder_books import PowderView, look
from cakewright.model.cell import Cell
from cakewright.powder.ledger import ContainerKind
from cakewright.sources.powder import USED_PLACE_KG
from cakewright.store import Store, open_store
from cakewright.store.engine import is_missing


def stocked_cell(cell: Cell, store: Store, today: date) -> Cell:
    """The cell with the stock of the books for every material that is in them; unchanged before the first entry.

    Virgin: drums that may be opened. Used: used cans, blends and what waits for the sieve. What has no label, no
    certificate or is past its date does not count.
    """
    view = look(store)
    if view.is_empty:
        return cell
    known = set(view.materials())
    counted = {name: view.stock(name, today) for name in known}
    return replace(
        cell,
        materials=tuple(
            replace(m, virgin_kg=counted[m.name].virgin_kg, used_kg=counted[m.name].ready_kg) if m.name in known else m
            for m in cell.materials
        ),
    )


def stocked_from(cell: Cell, database: str | Path, today: date) -> Cell:
    """`stocked_cell` when the database is there already; otherwise the cell as it is."""
    if is_missing(database):
        return cell
    with open_store(database) as store:
        return stocked_cell(cell, store, today)


def used_place(view: PowderView, material: str) -> float:
    """Kilograms of used powder that the cell's used cans take; a can booked without a size counts as a usual one."""
    cans = [c for c in view.ledger.containers.values() if c.kind is ContainerKind.USED and c.material == material]
    return sum(USED_PLACE_KG.value if c.capacity_kg is None else c.capacity_kg for c in cans) or math.inf
