"""Everything that is kept about one customer in one zip file: CSV, JSON, PDF, STL and their own files."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from cakewright.app.certificate import certificate_of
from cakewright.app.customers import files_of, known_customer
from cakewright.app.veil import veiled
from cakewright.documents.packing_list import packing_list_pdf
from cakewright.documents.quote_sheet import quote_sheet_pdf
from cakewright.documents.tables import placements_csv, quotes_csv, schedule_csv, text
from cakewright.errors import StoreError
from cakewright.formats.stl import stl_bytes
from cakewright.model.plan import WeekPlan
from cakewright.store import Store
from cakewright.store.plain import to_json

README = """What cakewright keeps about {name}, written {at:%Y-%m-%d %H:%M} UTC.

plans/NNN/orders.csv       lines, prices and dates of plan NNN       plans/NNN/pieces.csv    where each piece lay
plans/NNN/schedule.csv     when it was made                          plans/NNN/powder.csv    powder lots in each build
plans/NNN/records.csv      what was said at the bench about pieces   plans/NNN/floor.csv     measured and decided
orders/                    packing list, certificate, prices of each order, from the newest plan that has it (PDF)
quotes/                    every quote (JSON)                        shapes/                 geometry as planned (STL)
files/                     the files as they were given              manifest.csv            SHA-256 of every file here

Text is UTF-8; CSV has a header row, commas, and an apostrophe before text that a spreadsheet would run as a formula.
Times are UTC. Lengths mm, masses g or kg as named.
"""
Entry = tuple[str, bytes]


def export_customer(store: Store, customer: str, target: Path, *, at: datetime) -> int:
    """Write the zip file and check it; the number of files in it. Nothing is overwritten.

    InputError for a customer nobody knows, StoreError when the file is there already or cannot be written.
    """
    name = known_customer(store, customer)
    if target.exists():
        raise StoreError("there is a file already", remedy="give the export another name", where=str(target))
    part = target.with_name(f".{target.name}.part-{os.getpid()}")
    try:
        count = _write(part, _entries(store, name, at))
        part.rename(target)
    except OSError as wrong:
        raise StoreError(f"{target} cannot be written: {wrong.strerror}", remedy="free space, mend rights") from wrong
    finally:
        part.unlink(missing_ok=True)
    return count


def _write(path: Path, entries: Iterable[Entry]) -> int:
    rows = []
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in entries:
            out.writestr(name, content)
            rows.append((name, len(content), hashlib.sha256(content).hexdigest()))
        out.writestr("manifest.csv", _csv(("file", "bytes", "sha256"), rows))
    with zipfile.ZipFile(path) as made:
        bad = made.testzip()
    if bad is not None:
        raise StoreError(f"{bad} was not written as it should be", remedy="check the disk and do it again")
    return len(rows)


def _entries(store: Store, name: str, at: datetime) -> Iterator[Entry]:
    yield "README.txt", README.format(name=name, at=at.astimezone(UTC)).encode()
    shapes: dict[str, bytes] = {}
    orders: dict[str, WeekPlan] = {}
    for summary in store.plans():  # newest first
        plan = veiled(store.load_plan(summary.version), [name])
        if not plan.orders.lines:
            continue
        yield from _plan(store, plan)
        for line in plan.orders.lines:
            orders.setdefault(line.order, plan)
        for part in plan.parts.values():
            title = f"{part.name}-{part.revision}-{part.mesh.sha256[:12]}"
            shapes.setdefault(_plain(title), stl_bytes(part.mesh, part.name))
    for order, plan in orders.items():
        folder = f"orders/{_plain(order)}"
        yield f"{folder}/packing-list.pdf", packing_list_pdf(plan, order)
        yield f"{folder}/certificate.pdf", certificate_of(store, plan, order)
        yield f"{folder}/prices.pdf", quote_sheet_pdf(plan, order)
    for title, content in shapes.items():
        yield f"shapes/{title}.stl", content
    for kept in store.offers():
        if kept.offer.customer == name:
            for issue in range(1, kept.issue + 1):
                one = store.offer(kept.number, issue)
                yield f"quotes/{one.key}.json", to_json(one).encode()
    for file in files_of(store, name):
        yield f"files/{file.sha256[:12]}-{file.path.name}", file.path.read_bytes()


def _plan(store: Store, plan: WeekPlan) -> Iterator[Entry]:
    folder = f"plans/{plan.version:03d}"
    numbers = {line.line for line in plan.orders.lines}
    pieces = {p.piece for build in plan.builds for p in build.nest.placements}
    yield f"{folder}/orders.csv", quotes_csv(plan).encode()
    yield f"{folder}/pieces.csv", placements_csv(plan).encode()
    yield f"{folder}/schedule.csv", schedule_csv(plan).encode()
    records = [r for build in plan.builds for r in store.piece_records(plan.version, build.key) if r.piece in pieces]
    said = [(r.build, r.piece, r.state.value, r.by, r.at.isoformat(), r.note) for r in records]
    yield f"{folder}/records.csv", _csv(("build", "piece", "state", "by", "at_utc", "note"), said)
    shares = [(b.key, origin, share) for b in plan.builds for origin, share in
              store.powder.shares(plan.version, b.key).items()]  # fmt: skip
    yield f"{folder}/powder.csv", _csv(("build", "origin", "share"), shares)
    for photo in (p for b in plan.builds for p in store.photos.of_build(plan.version, b.key) if p.line in numbers):
        kind, content = store.photos.content(photo.number)
        yield f"{folder}/photo-{photo.number}.{kind.rpartition('/')[2]}", content
    floor = [(r.kind.value, r.build, r.line, r.piece, r.by, r.at.isoformat(), json.dumps(dict(r.data)))
             for r in store.floor.records(plan=plan.version) if r.line in numbers or r.piece in pieces]  # fmt: skip
    yield f"{folder}/floor.csv", _csv(("kind", "build", "line", "piece", "by", "at_utc", "data"), floor)


def _csv(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([text(cell) for cell in row] for row in rows)
    return out.getvalue().encode()


def _plain(title: str) -> str:
    return "".join(c if c.isalnum() or c in "-_." else "-" for c in title)[:100].lstrip(".") or "unnamed"
