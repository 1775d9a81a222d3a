"""What the ledger holds when a week is planned takes the place of the stock in the cell file."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

from cakewright.app.powder_books import look
from cakewright.model.cell import Cell
from cakewright.store import Store, open_store


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


def stocked_from(cell: Cell, database: Path, today: date) -> Cell:
    """`stocked_cell` when the database is there already; otherwise the cell as it is."""
    if not database.exists():
        return cell
    with open_store(database) as store:
        return stocked_cell(cell, store, today)
