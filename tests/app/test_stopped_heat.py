"""A cake that stopped half-way is cooled by conduction, not by its height alone."""

import numpy as np
import pytest

from cakewright.app.stop_build import PieceFate, after_stop
from cakewright.app.stopped_heat import _what_stands, stopped_heat, stopped_opening
from cakewright.physics.layers import layer_profile
from tests.app.running import running_week


@pytest.fixture(scope="module")
def stopped():
    """The first build of the small week, stopped at three fifths of its layers."""
    plan = running_week()
    build = plan.builds[0]
    return plan, build, after_stop(plan, build, build.profile.layers * 3 // 5)


def test_the_plastic_under_the_stop_is_all_there(stopped):
    """Whole pieces and cut-off ones together hold what the finished layers sintered, to the error of layers."""
    plan, build, after = stopped
    meshes, standing, _ = _what_stands(plan, build, after)

    def volume(mesh):
        a, b, c = mesh.triangles.swapaxes(0, 1)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)

    held = sum(volume(meshes[p.part_key]) for p in standing)
    own = {p.part_key: plan.parts[p.part_key].mesh for p in build.nest.placements}
    profile = layer_profile(own, build.nest.placements, build.profile.layer_mm, build.nest.height_mm)
    sintered = float(profile.area_mm2[: after.layer].sum()) * profile.layer_mm
    assert any(f is PieceFate.HALF for _, _, f in after.fates)
    assert held == pytest.approx(sintered, rel=0.005)


def test_the_stopped_cake_is_computed_from_where_it_stopped(stopped):
    """Sooner open than the whole, later than its height alone would say; the quick answer is near; scrap is unnamed."""
    plan, build, after = stopped
    cooling, heat = stopped_heat(plan, build, after)
    early, likely, late = cooling.opening_s
    assert early < likely < late
    made = {p for p, _, f in after.fates if f in (PieceFate.WHOLE, PieceFate.DOUBTFUL)}
    assert {p.piece for p in heat.pieces} == made
    assert heat.piece_c.shape == (len(heat.time_s), len(heat.pieces))
    assert abs(heat.heat_error) < 1e-3
    assert likely < build.cooling.opening_s[1] * 1.02
    assert likely > build.cooling.opening_s[1] * after.at_mm / build.nest.height_mm
    quick = stopped_opening(build, after, plan.cell)
    assert quick[1] == pytest.approx(likely, rel=0.35)


def test_a_stop_before_the_first_layer_still_cools(stopped):
    """Base powder only: hours of one layer, no record."""
    plan, build, _ = stopped
    cooling, heat = stopped_heat(plan, build, after_stop(plan, build, 0))
    assert heat is None and 0 <= cooling.opening_s[1] < build.cooling.opening_s[1]
