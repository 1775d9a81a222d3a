"""Measured lengths lead to the scale and offset that would have been right, whatever the file had."""

import re
from dataclasses import replace

import pytest

from cakewright.app.build_files import drawing_for
from cakewright.app.learn_shrink import propose_shrink
from cakewright.errors import InputError
from cakewright.formats.lengths_csv import WantedLength, read_lengths
from tests.documents.world import week

TRUE_S, TRUE_2D = 0.968, 0.15


def measured(plan, wanted, axis, is_hole=False):
    """What a machine with the ladder's shrink makes of a length as drawn in the build file."""
    drawn = drawing_for(plan, plan.builds[0]).drawn(wanted, axis, is_hole=is_hole)
    return TRUE_S * drawn + (-TRUE_2D if is_hole else TRUE_2D)


@pytest.mark.parametrize("scale", [1.0, 1.03])
@pytest.mark.parametrize("offset", [0.0, -0.05])
def test_the_right_scale_is_found_whatever_was_drawn(scale, offset):
    """From files as ordered or already scaled: the next are drawn by 1 / 0.968 and 0.075 mm smaller per face."""
    plan = week()
    machine = replace(plan.cell.machines[0], export_scale=(scale,) * 3, export_offset_mm=(offset,) * 3)
    plan = replace(plan, cell=replace(plan.cell, machines=(machine,)))
    lengths = [WantedLength(a, w, measured(plan, w, a)) for a in range(3) for w in (10.0, 50.0, 100.0, 150.0)]
    lengths.append(WantedLength(0, 10.0, measured(plan, 10.0, 0, is_hole=True), is_hole=True))
    found = propose_shrink(plan, "B1", lengths)
    assert [a.axis for a in found.axes] == ["x", "y", "z"]
    for a in found.axes:
        assert a.scale == pytest.approx(1 / TRUE_S)
        assert a.offset_mm == pytest.approx(-TRUE_2D / 2)
        assert (a.old_scale, a.old_offset_mm, abs(a.left_mm) < 1e-9) == (scale, offset, True)


def test_too_few_lengths_are_refused():
    """Two lengths, or three alike, cannot tell scale from offset."""
    alike = [WantedLength(0, 50.0, 48.5) for _ in range(3)]
    with pytest.raises(InputError, match="outside lengths along x"):
        propose_shrink(week(), "B1", alike)
    with pytest.raises(InputError, match="no build"):
        propose_shrink(week(), "B9", alike)


def test_places_tell_what_a_scale_by_place_would_win():
    """With shrink that grows towards the back the words give the spread before and after."""
    spots = [(x, y, z) for x in (20.0, 170.0) for y in (20.0, 220.0) for z in (10.0, 90.0)]
    lengths = [
        WantedLength(a, w, w * (0.97 + 1e-5 * p[1]), False, p)
        for a in range(3)
        for w, p in zip((20.0, 40.0, 60.0, 80.0, 30.0, 50.0, 70.0, 90.0), spots, strict=True)
    ]
    said = propose_shrink(week(), "B1", lengths).by_place
    assert "changes with the place" in said
    rows = re.findall(r"\[([-0-9.e+, ]+)\]", said.split("export_by_place = ")[1])
    centre = 0.97 + 1e-5 * 120
    for row in rows:
        along = [float(v) for v in row.split(",")]
        assert along == pytest.approx([0.0, -1e-5 / centre**2, 0.0], abs=1e-8)
    assert len(rows) == 3


def test_the_file_is_read_and_mistakes_are_named(tmp_path):
    """Comma or semicolon, decimal comma, holes, places; a wrong axis and a missing column say where and what."""
    path = tmp_path / "lengths.csv"
    path.write_text("axis;wanted;measured;hole;x;y;z\nx;10;9,83;;20;30;40\ny;10;9.53;yes;;;\n", encoding="utf-8")
    first, second = read_lengths(path)
    assert first == WantedLength(0, 10.0, 9.83, False, (20.0, 30.0, 40.0))
    assert (second.is_hole, second.at_mm) == (True, None)
    for text, said in (
        ("axis,wanted,measured\nw,10,9\n", "line 2.*axis 'w'|axis 'w'"),
        ("axis,wanted\nx,10\n", "no column measured"),
        ("axis,wanted,measured\nx,ten,9\n", "wanted is 'ten'"),
        ("axis,wanted,measured\n", "no length"),
        ("", "no column"),
    ):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=said):
            read_lengths(path)
