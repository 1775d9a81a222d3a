"""An approved scale begins with the build that the approver names, and is in its file from then on."""

import zipfile
from datetime import timedelta

import numpy as np
import pytest

from cakewright.app import scale_change
from cakewright.app.build_files import merged_mesh
from cakewright.app.release_points import Look, release_points
from cakewright.app.scale_in_effect import drawn_plan, export_build, scale_words
from cakewright.errors import InputError
from tests.app.floor_worlds import NOW
from tests.app.test_scale_change import DRIFTED, ladder, measure

BEFORE = NOW - timedelta(hours=2)  # nothing has begun


@pytest.fixture
def store(store, plan):
    """Five plans of the week, a drift along x in their builds, and plan 6 that runs now."""
    for _ in range(5):
        store.save_plan(plan, made_by="Mira", at=NOW)
    measure(store, plan, DRIFTED)
    return store


def scale_of(store, plan, key):
    return drawn_plan(store, plan, plan.build(key)).cell.machines[0].export_scale[0]


def test_it_begins_with_the_named_build(store):
    """B2 of the running plan and every later plan are drawn with it, B1 is not; the release says which file to take."""
    plan = store.load_plan(6)
    assert scale_change.may_begin(store, plan, "A1", BEFORE) == ("B1", "B2")
    kept = scale_change.approve(store, plan, "A1", "x", by="Ada", at=BEFORE, first="B2")
    assert (kept.data["from_plan"], kept.data["from_build"], kept.build) == (6, "B2", "B2")
    assert (scale_of(store, plan, "B1"), scale_of(store, plan, "B2")) == (1.0, kept.data["new"])
    assert "x × 1.0009" in scale_words(store, plan, plan.build("B2"))
    (point,) = [p for p in release_points(store, plan, plan.build("B2")) if p.what == "scale of the machine"]
    assert (point.state, "approved by Ada" in point.found) == (Look.LOOK, True)
    assert "scale of the machine" not in {p.what for p in release_points(store, plan, plan.build("B1"))}
    store.save_plan(plan, made_by="Mira", at=NOW)
    assert scale_of(store, store.load_plan(7), "B1") == kept.data["new"]
    assert scale_of(store, store.load_plan(5), "B2") == 1.0


def test_the_exported_file_is_drawn_with_it(store, tmp_path):
    """The pieces of the file of B2 are wider by the factor about their own middle; the note of the 3MF says so."""
    plan = store.load_plan(6)
    new = scale_change.approve(store, plan, "A1", "x", by="Ada", at=BEFORE, first="B2").data["new"]
    first, second = (export_build(store, plan, key, tmp_path) for key in ("B1", "B2"))
    placed = plan.build("B2").nest.placements[0]
    ordered = plan.parts[placed.part_key].mesh.placed(placed.rotation, placed.translation)
    whole = merged_mesh(drawn_plan(store, plan, plan.build("B2")), plan.build("B2"))
    np.testing.assert_allclose(np.ptp(whole.vertices[: len(ordered.vertices), 0]), new * ordered.size_mm[0], rtol=1e-9)
    notes = [zipfile.ZipFile(threemf).read("3D/3dmodel.model").decode() for threemf, _ in (first, second)]
    assert "as ordered, not scaled" in notes[0]
    assert f"drawn larger by x {new:g}, y 1, z 1" in notes[1]


def test_the_ladders_of_builds_drawn_with_it_count(store):
    """Counting begins again with B2 of plan 6: a ladder of B1 of that plan was drawn with the old factor."""
    plan = store.load_plan(6)
    scale_change.approve(store, plan, "A1", "x", by="Ada", at=BEFORE, first="B2")
    for key in ("B1", "B2"):
        scale_change.keep_ladder(store, plan, key, ladder(1.0), by="Jon", at=NOW + timedelta(days=2))
    (state,) = scale_change.axis_states(store, plan)
    assert [m.build for m in state.ladders] == ["6-B2"]


def test_a_build_that_has_begun_is_refused(store):
    """At noon B1 prints: the change may begin with B2 only, or with the next plan."""
    plan = store.load_plan(6)
    with pytest.raises(InputError, match="'B1' of plan 6 is no build of A1 that has not begun"):
        scale_change.approve(store, plan, "A1", "x", by="Ada", at=NOW + timedelta(hours=6), first="B1")
    with pytest.raises(InputError, match="'B9'"):
        scale_change.approve(store, plan, "A1", "x", by="Ada", at=BEFORE, first="B9")
