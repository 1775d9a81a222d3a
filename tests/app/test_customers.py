"""Customers' files: seen by whom, kept until when, given back whole, deleted with a report."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from dataclasses import replace
from datetime import date, timedelta

import pytest

from cakewright.app.accounts import add_account
from cakewright.app.customer_export import export_customer
from cakewright.app.customers import delete_customer, due, files_of, keep_until, let_see
from cakewright.app.veil import veiled
from cakewright.errors import InputError, StoreError
from cakewright.model.order import OrderList
from cakewright.store import PieceState, open_store
from cakewright.store.accounts import Role
from tests.store.filled import NOON, PASSWORD, offer, tiny_week

LATER = NOON + timedelta(days=30)
OURS, THEIRS = "Harbour Lab", "Red Kiln"
FILE = b"solid our file\nendsolid\n"


def two_customers():
    """Line 1 is for one customer, line 5 for another."""
    plan = tiny_week()
    names = {1: OURS, 5: THEIRS}
    lines = tuple(replace(line, customer=names[line.line]) for line in plan.orders.lines)
    plate = replace(plan.parts["plate"], origin=replace(plan.parts["plate"].origin,
                                                         sha256=hashlib.sha256(FILE).hexdigest()))  # fmt: skip
    return replace(plan, orders=OrderList(plan.orders.source, lines, ()), parts={**plan.parts, "plate": plate})


@pytest.fixture
def store(tmp_path):
    """A plan, its folder, a file in the inbox, a quote, a word about a piece."""
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(two_customers(), made_by="Mira", at=NOON)
        store.record_piece(plan=1, build="B1", piece="L01-01", state=PieceState.FOUND, by="Mira", at=NOON)
        store.record_piece(plan=1, build="B1", piece="L05-01", state=PieceState.BROKEN, by="Mira", at=NOON)
        store.save_offer(replace(offer(), customer=OURS), at=NOON, by="Mira")
        store.save_offer(replace(offer(), customer=THEIRS), at=NOON, by="Mira")
        parts = tmp_path / "inbox" / "0123456789ab" / "parts"
        parts.mkdir(parents=True)
        (parts / "plate.stl").write_bytes(FILE)
        (parts / "other.stl").write_bytes(b"another")
        folder = tmp_path / "plan-001" / "builds"
        folder.mkdir(parents=True)
        (folder / "B1.3mf").write_bytes(b"shapes")
        yield store


def test_a_veiled_plan_holds_nothing_of_others(store):
    """No line, part, piece, price, date, doubt or task of anybody else; a stranger sees nothing at all."""
    plan = veiled(store.load_plan(1), [OURS])
    assert [line.customer for line in plan.orders.lines] == [OURS]
    assert set(plan.parts) == {"plate"}
    assert {p.line for b in plan.builds for p in b.nest.placements} == {1}
    assert {x.line for x in (*plan.promises, *plan.costs)} == {1}
    assert {n for t in plan.schedule.tasks for n in t.lines} == {1}
    said = repr((plan.orders, plan.builds, plan.schedule, plan.promises, plan.set_aside, plan.findings))
    assert THEIRS not in said
    assert "clip" not in said
    assert "L05" not in said
    nothing = veiled(store.load_plan(1), ["Stranger"])
    assert (nothing.orders.lines, dict(nothing.parts), nothing.builds) == ((), {}, ())


def test_who_works_at_the_cake_cannot_be_limited(store):
    """Sales and readers can, to customers that exist; an empty list lets them see everything again."""
    for name, role in (("Jon", Role.OPERATOR), ("Sam", Role.SALES)):
        add_account(store, name, role, PASSWORD, at=NOON)
    with pytest.raises(InputError, match="sees the parts of every customer"):
        let_see(store, "Jon", [OURS])
    with pytest.raises(InputError, match="no order or quote is for"):
        let_see(store, "Sam", ["Nobody Ltd"])
    assert let_see(store, "Sam", ["harbour lab"]) == (OURS,)
    assert store.customers.limits() == {"Sam": frozenset({OURS})}
    let_see(store, "Sam", [])
    assert store.customers.limits() == {}


def test_everything_about_one_customer(store, tmp_path):
    """One zip: orders, pieces, words, quote, papers, shape and file; every file as the manifest says; nobody else's."""
    target = tmp_path / "out.zip"
    export_customer(store, OURS, target, at=LATER)
    with zipfile.ZipFile(target) as made:
        content = {name: made.read(name) for name in made.namelist()}
    rows = list(csv.DictReader(io.StringIO(content.pop("manifest.csv").decode())))
    assert {r["file"]: r["sha256"] for r in rows} == {n: hashlib.sha256(c).hexdigest() for n, c in content.items()}
    pieces = list(csv.DictReader(io.StringIO(content["plans/001/pieces.csv"].decode("utf-8-sig"))))
    assert {row["line"] for row in pieces} == {"1"}
    assert b"L01-01" in content["plans/001/records.csv"]
    assert b"L05" not in b"".join(content.values())
    assert THEIRS.encode() not in b"".join(c for n, c in content.items() if not n.endswith(".pdf"))
    assert any(n.startswith("files/") and c == FILE for n, c in content.items())
    assert [n for n in content if n.startswith("quotes/")] == ["quotes/Q0001.json"]
    assert len([n for n in content if n.startswith("shapes/")]) == 1
    assert all(c.startswith(b"%PDF") for n, c in content.items() if n.endswith(".pdf"))
    with pytest.raises(StoreError, match="already"):
        export_customer(store, OURS, target, at=LATER)


def test_deletion_takes_files_and_shapes_and_leaves_what_finds_pieces(store, tmp_path):
    """The geometry is nowhere in the database file; places, words and other customers are as before; a report stays."""
    mesh = store.load_plan(1).parts["plate"].mesh
    other = store.load_plan(1).parts["clip"].mesh
    with pytest.raises(InputError, match="not ready yet"):
        delete_customer(store, OURS, by="Mira", at=NOON)
    assert [f.path.name for f in files_of(store, OURS)] == ["plate.stl"]
    report = delete_customer(store, OURS, by="Mira", at=LATER)
    plan = store.load_plan(1)
    assert plan.parts["plate"].mesh.sha256 != mesh.sha256
    assert plan.parts["plate"].mesh.size_mm == pytest.approx(mesh.size_mm)
    assert plan.parts["clip"].mesh.sha256 == other.sha256
    assert [p.piece for p in plan.builds[0].nest.placements] == [p.piece for p in tiny_week().builds[0].nest.placements]
    assert [r.piece for r in store.piece_records(1, "B1")] == ["L01-01", "L05-01"]
    with pytest.raises(StoreError):
        store.parts.mesh(mesh.sha256)
    assert not (tmp_path / "plan-001").exists()
    assert [p.name for p in (tmp_path / "inbox").glob("*/parts/*")] == ["other.stl"]
    assert "plate.stl" in report
    assert "What stays, and why" in report
    assert store.customers.deletions()[0].report == report
    delete_customer(store, OURS, by="Mira", at=LATER)  # again: nothing left, and nothing breaks
    assert store.check() == 1


def test_a_shape_that_another_customer_uses_stays(tmp_path):
    """The same file ordered by two: it is told, and the other's part is as it was."""
    with open_store(tmp_path / "cell.sqlite") as store:
        plan = two_customers()
        store.save_plan(replace(plan, part_of_line={1: "plate", 5: "plate"}), made_by="Mira", at=NOON)
        report = delete_customer(store, OURS, by="Mira", at=LATER)
        assert "not plate: a line or quote of another customer" in report
        assert store.load_plan(1).parts["plate"].mesh.sha256 == plan.parts["plate"].mesh.sha256


def test_a_day_is_set_moved_and_falls_due(store):
    """The last word counts; it is due until the files are gone."""
    keep_until(store, OURS, date(2027, 6, 1), by="Mira", at=NOON)
    keep_until(store, OURS, date(2027, 4, 1), by="Mira", at=NOON, note="their contract")
    assert due(store, date(2027, 3, 31)) == ()
    assert [f.name for f in due(store, date(2027, 4, 1))] == [OURS]
    delete_customer(store, OURS, by="Mira", at=NOON + timedelta(days=31))
    assert due(store, date(2027, 4, 2)) == ()
    with pytest.raises(InputError, match="say who you are"):
        keep_until(store, OURS, None, by=" ", at=NOON)
