"""Customers' files are theirs: who sees them, until when they are kept, and what goes when the day has come."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import numpy as np

from cakewright.app.keep_quotes import FOLDER as QUOTES
from cakewright.app.keep_safe import backups_in
from cakewright.errors import InputError
from cakewright.model.mesh import Mesh
from cakewright.store import Store
from cakewright.store.accounts import Role
from cakewright.store.customers import CustomerFacts, Shape

LIMITABLE = (Role.SALES, Role.READER)
STAYS = """What stays, and why:
- order numbers, lines, quantities, dates and costs in the plans: the books of the cell, and what a bill rests on
- where each piece lay in which build, what was said, measured and photographed, which lots of powder are in it: so
  that pieces can be found when a lot, a machine or a build turns out to be bad
- names and revisions of parts, outer sizes, and the SHA-256 of the files: they prove which file was printed and hold
  nothing of it; a plain block of the outer size stands where the shape was
- quotes: letters of business; how long they must be kept is a matter of local law, ask who knows it
- the record of who changed what"""


@dataclass(frozen=True, slots=True)
class KeptFile:
    """A file of a customer beside the database."""

    path: Path
    sha256: str


def known_customer(store: Store, name: str) -> str:
    """The name as it is written in the orders; InputError when no order and no quote names that customer."""
    names = [facts.name for facts in store.customers.facts()]
    found = [n for n in names if n == name] or [n for n in names if n.casefold() == name.casefold()]
    if not found:
        raise InputError(f"no order or quote is for {name[:60]!r}", remedy="`cakewright customers list` names them")
    return found[0]


def let_see(store: Store, account: str, customers: Collection[str]) -> tuple[str, ...]:
    """Limit an account to the lines and quotes of these customers; none: it sees everything. The names as known.

    InputError for an account whose work is at the machines: in a cake lie the parts of all customers.
    """
    known = next((a for a in store.accounts.all() if a.name == account), None)
    if known is None:
        raise InputError(f"there is no account {account!r}", remedy="`cakewright people list` shows them")
    if customers and known.role not in LIMITABLE:
        raise InputError(
            f"{account} is {known.role}, and whoever works at a cake sees the parts of every customer in it",
            remedy="limit accounts for sales and for reading",
        )
    names = tuple(known_customer(store, name) for name in customers)
    store.customers.limit(account, names)
    return names


def keep_until(store: Store, customer: str, delete_on: date | None, *, by: str, at: datetime, note: str = "") -> str:
    """Set the day from which a customer's files are to be deleted; None takes it back. The name as known."""
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    name = known_customer(store, customer)
    store.customers.set_date(name, delete_on, by=by.strip(), at=at, note=note)
    return name


def due(store: Store, today: date) -> tuple[CustomerFacts, ...]:
    """Customers whose day has come and whose shapes are still there."""
    gone = {d.customer: d.at.date() for d in reversed(store.customers.deletions())}
    facts = [f for f in store.customers.facts() if f.delete_on is not None and f.delete_on <= today]
    return tuple(f for f in facts if f.name not in gone or gone[f.name] < (f.delete_on or today))


def files_of(store: Store, customer: str) -> tuple[KeptFile, ...]:
    """The customer's mesh files that lie in the inbox and with the quotes, known by their content."""
    return tuple(_files(store, _hashes(store, customer)))


def delete_customer(
    store: Store, customer: str, *, by: str, at: datetime, although_open: bool = False, backups: Path | None = None
) -> str:
    """Delete files and shapes of a customer and return the report, which is kept on record too.

    InputError for a customer nobody knows, without a name, or while a line of theirs is not ready yet.
    """
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    name = known_customer(store, customer)
    if not although_open:
        _refuse_open(store, name, at)
    shapes, needed = store.customers.shapes(name), store.customers.needed_by_others(name)
    gone = {s.mesh_sha256: _block(s.size_mm) for s in shapes if s.mesh_sha256 not in needed}
    gone = {digest: block for digest, block in gone.items() if digest != block.sha256}  # deleted before
    files = tuple(_files(store, _hashes(store, name) - needed))
    folders = tuple(sorted(
        f for v in {s.plan for s in shapes} if (f := store.folder / f"plan-{v:03d}").is_dir()
    ))  # fmt: skip
    report = _report(name, by, at, shapes, needed, len(gone), files, folders, backups)
    for file in files:
        file.path.unlink(missing_ok=True)
        (file.path.parent.parent / "looked" / f"{file.path.name}.json").unlink(missing_ok=True)
    for folder in folders:
        shutil.rmtree(folder)
    store.customers.erase(name, gone, report=report, by=by.strip(), at=at)
    return report


def _refuse_open(store: Store, name: str, at: datetime) -> None:
    if store.newest() is None:
        return
    plan = store.load_plan()
    mine = {line.line: line for line in plan.orders.lines if line.customer == name}
    ready = {p.line: p.ready for p in plan.promises}
    waiting = [line.key for n, line in mine.items() if (when := ready.get(n)) is None or when > at]
    if waiting:
        raise InputError(
            f"{', '.join(waiting)} of {name} in plan {plan.version} are not ready yet",
            remedy="delete when they are shipped, or say that it shall be done although lines are open",
        )


def _hashes(store: Store, customer: str) -> frozenset[str]:
    mine = {shape.file_sha256 for shape in store.customers.shapes(customer)}
    return frozenset(mine | {k.offer.file_sha256 for k in store.offers() if k.offer.customer == customer})


def _files(store: Store, hashes: Collection[str]) -> Iterator[KeptFile]:
    for pattern in (f"{QUOTES}/*", "inbox/*/parts/*"):
        for path in sorted(store.folder.glob(pattern)):
            if path.is_file() and (digest := hashlib.sha256(path.read_bytes()).hexdigest()) in hashes:
                yield KeptFile(path, digest)


def _block(size_mm: tuple[float, float, float]) -> Mesh:
    corners = np.array([[i, j, k] for k in (0, 1) for j in (0, 1) for i in (0, 1)], dtype=float)
    faces = [(0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
             (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5)]  # fmt: skip
    return Mesh(corners * np.maximum(size_mm, 0.01), np.array(faces))


def _report(
    name: str, by: str, at: datetime, shapes: tuple[Shape, ...], needed: Collection[str], erased: int,
    files: tuple[KeptFile, ...], folders: tuple[Path, ...], backups: Path | None,
) -> str:  # fmt: skip
    rows = [f"Files of {name} were deleted by {by} on {at:%Y-%m-%d %H:%M} UTC.", "", "What is gone:"]
    rows.append(f"- {erased} shapes in the database, overwritten in the file; on a server, until its next VACUUM")
    rows += [f"- {file.path.name} (SHA-256 {file.sha256[:12]}) from {file.path.parent}" for file in files]
    rows += [f"- {folder.name}: build files, papers, pictures; those of others can be made anew" for folder in folders]
    shared = sorted({s.name for s in shapes if s.mesh_sha256 in needed or s.file_sha256 in needed})
    rows += [f"- not {part}: a line or quote of another customer is made from the same file" for part in shared]
    rows += ["", STAYS, ""]
    held = [path for _, path in backups_in(backups)] if backups is not None and backups.is_dir() else []
    if held:
        rows.append(
            f"Backups made before still hold everything, {len(held)} in {backups}: remove them, or let them thin out."
        )
    else:
        rows.append("Backups and copies made before still hold everything: remove them, or let them thin out.")
    return "\n".join(rows)
