"""What a finish takes off is measured, and the next check and the next ways up count on it."""

from dataclasses import replace

import numpy as np
import pytest

from cakewright.app import finish_effect
from cakewright.app.learnt_cell import as_recorded
from cakewright.errors import InputError
from cakewright.model.part import OrientationRule
from cakewright.parts.limits import limits_of
from cakewright.parts.ranking import rank_orientations
from tests.app.floor_worlds import NOW


def change(store, plan, before, after, kind="outside", line=1, piece="L01-01"):
    finish_effect.keep_change(store, plan, line, piece=piece, name="width", before=before, after=after, kind=kind,
                              by="Jon", at=NOW)  # fmt: skip


def test_outside_sizes_and_holes_tell_the_same_face(store, plan):
    """Blasting takes 0.03 mm off each face: outside 0.06 less, holes 0.06 more; five values make it count."""
    for n in range(3):
        change(store, plan, 20.0, 19.94 + 0.002 * (n - 1))
    (effect,) = finish_effect.finish_effects(store)
    assert not effect.is_used
    for n in range(2):
        change(store, plan, 6.0, 6.06 + 0.002 * n, kind="hole")
    change(store, plan, 18.0, 17.82, kind="mass")
    (effect,) = finish_effect.finish_effects(store)
    assert effect.is_used
    assert effect.face_mm == pytest.approx(-0.030, abs=0.001)
    assert effect.mass_share == pytest.approx(-0.01)


def test_the_next_plan_asks_for_thicker_walls_and_pins(store, plan):
    """0.05 mm off each face: a wall of 0.8 mm must be drawn 0.9 mm thick; a line without that finish is left alone."""
    for n in range(6):
        change(store, plan, 20.0, 19.90 + 0.001 * (n % 2))
    cell = as_recorded(plan.cell, store)
    assert cell.finish("blasted").face_mm == pytest.approx(-0.05, abs=0.001)
    assert as_recorded(cell, store) == cell
    before = limits_of(cell.material("PA12"))
    after = limits_of(finish_effect.limits_before_finish(cell.material("PA12"), cell.finish("blasted")))
    assert after["wall_mm"] == pytest.approx(before["wall_mm"] + 0.1, abs=0.001)
    assert after["pin_mm"] == pytest.approx(before["pin_mm"] + 0.1, abs=0.001)
    assert after["hole_mm"] == before["hole_mm"]
    raw = finish_effect.limits_before_finish(cell.material("PA12"), cell.finish("raw"))
    assert raw == cell.material("PA12")


def test_a_finish_that_grows_asks_for_wider_holes(plan):
    """A coat of 0.04 mm closes holes and gaps by 0.08 mm and leaves walls alone."""
    coat = replace(plan.cell.finish("blasted"), face_mm=0.04)
    before = limits_of(plan.cell.material("PA12"))
    after = limits_of(finish_effect.limits_before_finish(plan.cell.material("PA12"), coat))
    assert after["hole_mm"] == pytest.approx(before["hole_mm"] + 0.08)
    assert after["wall_mm"] == before["wall_mm"]


def test_steps_that_the_finish_evens_out_do_not_decide_the_way_up(plan):
    """On a ball every turn has the same steps: what is taken off is subtracted, down to nothing."""
    mesh = plan.parts["ball"].mesh
    ranked = [rank_orientations(mesh, OrientationRule(), layer_mm=0.1, seed=1, tried=20, evened_mm=e)[0].stair_mm
              for e in (0.0, 0.02, 0.5)]  # fmt: skip
    assert ranked[0] - ranked[1] == pytest.approx(0.02, abs=1e-3)
    assert ranked[2] == 0.0
    assert np.isfinite(ranked).all()


def test_what_cannot_be_is_refused(store, plan):
    """A raw line, a strange piece, a change of a third, a kind there is not."""
    with pytest.raises(InputError, match="has no step"):
        change(store, plan, 20.0, 19.9, line=3, piece="L03-01")
    with pytest.raises(InputError, match="no piece 'L09-01'"):
        change(store, plan, 20.0, 19.9, piece="L09-01")
    with pytest.raises(InputError, match="measure the same place again"):
        change(store, plan, 20.0, 14.0)
    with pytest.raises(InputError, match="no kind of value"):
        change(store, plan, 20.0, 19.9, kind="smell")
