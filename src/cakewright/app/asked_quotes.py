"""A quote that was asked for on a page: file and wishes are kept until it is made, so that a restart loses nothing."""

from __future__ import annotations

import json
import secrets
import shutil
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from pathlib import Path

from cakewright.app.check_part import loose_line
from cakewright.app.effort import effort_in_seconds
from cakewright.app.inbox import Incoming
from cakewright.app.progress import Progress
from cakewright.app.quotes import SEARCH_S, make_offer
from cakewright.errors import InputError, StoreError
from cakewright.model.cell import Cell
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

FOLDER = "asked"
_WISHES = "asked.json"


@dataclass(frozen=True, slots=True)
class AskedQuote:
    """What was asked for: a file with its line, the day (ISO, '' for none), what is settled, seconds of search.

    `replaces` is the number of the quote of which this is the next issue; `part` and `revision` are given for a repeat.
    """

    file: str
    quantity: int = 1
    material: str = ""
    finish: str = ""
    quality_class: str = ""
    customer: str = ""
    due: str = ""
    settled: tuple[str, ...] = ()
    seconds: float = SEARCH_S
    by: str = ""
    replaces: int | None = None
    part: str = ""
    revision: str = ""

    def line(self, file: Path, cell: Cell) -> OrderLine:
        """The order line it would be; CellError for a material, finish or class that the cell does not have."""
        line = loose_line(file, cell, self.material or None, quantity=self.quantity, finish=self.finish or None,
                          quality_class=self.quality_class or None)  # fmt: skip
        line = replace(line, customer=self.customer)
        return replace(line, part=self.part, revision=self.revision) if self.part else line


def keep_asked(store: Store, asked: AskedQuote, content: Iterable[bytes], cell: Cell) -> str:
    """Keep the file and the wishes; the word under which they are kept. InputError, and nothing kept, for bad wishes.

    The mesh itself is only looked at later, in a process of its own.
    """
    wished_day(asked.due)
    asked.line(Path(asked.file), cell)
    word = secrets.token_hex(8)
    folder = store.folder / FOLDER / word
    try:
        folder.mkdir(parents=True)
        Incoming(folder / asked.file, asked.file).all(content)
        (folder / _WISHES).write_text(json.dumps(asdict(asked)), encoding="utf-8")
    except OSError as wrong:
        shutil.rmtree(folder, ignore_errors=True)
        raise StoreError(f"{folder} cannot be written: {wrong.strerror}", remedy="free some space") from wrong
    except (InputError, StoreError):
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return word


def asked_of(store: Store, word: str) -> AskedQuote:
    """What was asked for under a word; StoreError when it is not kept any more."""
    try:
        kept = json.loads((store.folder / FOLDER / word / _WISHES).read_text(encoding="utf-8"))
    except (OSError, ValueError) as wrong:
        raise StoreError("what was asked for is not kept any more", remedy="ask again with the file") from wrong
    return AskedQuote(**{**kept, "settled": tuple(kept["settled"])})


def quote_asked(report: Progress, database: str, word: str, cell: Cell, plan: WeekPlan | None, now: datetime) -> int:
    """What a worker does: make the quote in today's plan, keep it, forget what was asked; its number."""
    from cakewright.app.earlier_part import keep_shape
    from cakewright.app.keep_quotes import keep_quote
    from cakewright.store import open_store

    with open_store(database) as store:
        asked = asked_of(store, word)
        file = store.folder / FOLDER / word / asked.file
        offer = make_offer(
            file, asked.line(file, cell), cell, plan, now=now, clock=time.monotonic, settled=asked.settled,
            wanted=wished_day(asked.due), effort=effort_in_seconds(asked.seconds, time.monotonic), progress=report,
        )  # fmt: skip
        keep_shape(store, offer, file, asked.line(file, cell), cell)
        kept = keep_quote(store, offer, file, at=now, by=asked.by, replaces=asked.replaces)
        shutil.rmtree(store.folder / FOLDER / word, ignore_errors=True)
        return kept.number


def wished_day(text: str) -> date | None:
    """A day asked for, None for none; InputError when it is not written as 2027-03-12."""
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError as wrong:
        raise InputError(f"{text[:40]!r} is no day", remedy="write 2027-03-12", where="due") from wrong
