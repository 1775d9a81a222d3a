"""How many are on the scale, and when the scale cannot know."""

from dataclasses import replace

import pytest

from cakewright.app import count_line
from cakewright.errors import InputError
from cakewright.store import open_store
from tests.app.floor_worlds import NOW, week_with_bars


def test_sliders_of_the_job_map_in_one_pile_and_in_piles_of_fifty():
    """240 pieces, cv 1 %, reference 20: sigma 0.56 cannot tell 239 from 240; fifty at once 0.13 can."""
    whole = count_line.count(240.0, 20.0, 20, 0.01)
    assert (whole.pieces, round(whole.sigma, 2), whole.is_sure) == (240, 0.56, False)
    some = count_line.count(50.0, 20.0, 20, 0.01)
    assert (some.pieces, round(some.sigma, 2), some.is_sure) == (50, 0.13, True)


def test_a_coarse_scale_counts_light_pieces_badly():
    """Pieces of 0.5 g on a scale of 0.1 g: a fifth of a piece of error allows none at three sigmas."""
    seen = count_line.count(10.0, 5.0, 10, 0.01, scale_g=0.1)
    assert seen.most == 0
    assert not seen.is_sure


def test_spread_comes_from_pieces_weighed_one_by_one():
    """Five masses with a spread of about 1 %; two are too few."""
    assert count_line.spread_of([5.0, 5.05, 4.95, 5.05, 4.95]) == pytest.approx(0.01, rel=0.01)
    with pytest.raises(InputError, match="2 masses"):
        count_line.spread_of([5.0, 5.0])


def test_an_unsure_count_is_not_kept(tmp_path):
    """Too many at once are refused with how many may lie on the scale; a sure pile is kept."""
    plan = week_with_bars()
    with open_store(tmp_path / "cell.sqlite") as store:
        store.save_plan(plan, made_by="Mira", at=NOW)
        with pytest.raises(InputError, match="cannot be told from 239 or 241"):
            count_line.keep_count(store, plan, 1, count_line.count(240.0, 20.0, 20, 0.01), by="Jon", at=NOW)
        count_line.keep_count(store, plan, 1, count_line.count(4.0, 20.0, 20, 0.01), by="Jon", at=NOW)
        assert [r.data["pieces"] for r in count_line.counted_so_far(store, plan, 1)] == [4]


def test_mirrored_twins_are_named():
    """A chiral part and its mirror image in one build are twins, both ways; a symmetric one has none."""
    plan = week_with_bars()
    wedge = _wedge()
    parts = dict(plan.parts)
    parts["knob"] = replace(parts["knob"], mesh=wedge)
    parts["duct"] = replace(parts["duct"], mesh=_mirrored(wedge))
    plan = replace(plan, parts=parts)
    assert count_line.twins_of(plan, 2) == (3,)
    assert count_line.twins_of(plan, 3) == (2,)
    assert count_line.twins_of(plan, 1) == ()


def _wedge():
    import numpy as np
    import trimesh

    from cakewright.model.mesh import Mesh

    corners = [(0, 0, 0), (30, 0, 0), (0, 20, 0), (0, 0, 10)]  # four unlike edges: not its own mirror image
    hull = trimesh.Trimesh(corners).convex_hull
    return Mesh(np.asarray(hull.vertices), np.asarray(hull.faces))


def _mirrored(mesh):
    import numpy as np

    from cakewright.model.mesh import Mesh

    return Mesh(np.asarray(mesh.vertices) * (-1, 1, 1), np.asarray(mesh.faces)[:, ::-1].copy())
