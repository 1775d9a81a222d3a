"""A line that asks for a mark gets it on every piece, or is told why not."""

from __future__ import annotations

import pytest

from cakewright import read_orders
from cakewright.app.intake import take_in
from cakewright.formats.stl import write_stl
from tests.app.worlds import small_cell, write_order_book
from tests.conftest import box_mesh


def taken_with(tmp_path, flags):
    cell = small_cell()
    material, finish, quality = cell.materials[0].name, cell.finishes[0].name, cell.classes[0].name
    rows = [
        f"{n},A-1,2027-03-01,Team,{part},A,2,{material},{finish},{quality},2027-03-10,{part}.stl,{flag}"
        for n, (part, flag) in enumerate(flags, start=1)
    ]
    book, parts = write_order_book(tmp_path, cell, rows)
    return take_in(read_orders(book, cell), cell, parts)


def test_a_line_is_marked_as_it_asks(tmp_path):
    """Engraving takes material away, raised letters add some, and the place is told."""
    taken = taken_with(tmp_path, [("brick", "mark"), ("plate", "mark raised"), ("cube", ""), ("brick", "mark dots")])
    volume = {key: part.measures.volume_mm3 for key, part in taken.parts.items()}
    assert 7900 < volume["L01"] < 8000
    assert 19200 < volume["L02"] < 19300
    assert volume["L03"] == 15**3
    assert 7900 < volume["L04"] < 8000
    told = {f.where.split(" ")[1]: f for f in taken.findings if f.code == "identity.marked"}
    assert sorted(told) == ["1", "2", "4"]
    assert told["1"].at_mm is not None
    assert "'L01' is cut into" in told["1"].message


def test_a_mark_without_a_face_is_a_warning_and_the_part_stays_as_it_is(tmp_path):
    """A pin of 3 x 3 x 20 mm has no face for letters: the line goes on unmarked, with what to do instead."""
    write_order_book(tmp_path, small_cell())
    write_stl(tmp_path / "parts" / "pin.stl", box_mesh(3, 3, 20), "pin")
    taken = taken_with(tmp_path, [("pin", "mark")])
    found = [f for f in taken.findings if f.code == "identity.not-marked"]
    assert len(found) == 1
    assert "cage" in found[0].remedy
    assert taken.parts["L01"].measures.volume_mm3 == pytest.approx(180)
