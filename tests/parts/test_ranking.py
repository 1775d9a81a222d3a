"""The advice on which way up is what a person would give for clear cases."""

import manifold3d as m3
import numpy as np

from cakewright.model.mesh import Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.orient import candidate_rotations, is_allowed
from cakewright.parts.ranking import rank_orientations
from tests.conftest import box_mesh


def test_a_plate_is_not_built_flat_when_flatness_costs_but_a_rod_lies_down():
    """A rod of 200 mm lies: few layers. The first three verticals differ."""
    found = rank_orientations(box_mesh(10, 12, 200), OrientationRule(), layer_mm=0.1, seed=1)
    assert len(found) == 3
    assert found[0].height_mm < 15
    assert [s.cost for s in found] == sorted(s.cost for s in found)


def test_no_steps_on_level_and_upright_faces():
    """A block on its side shows no stairs, tilted by any angle it does."""
    found = rank_orientations(box_mesh(30, 40, 50), OrientationRule(), layer_mm=0.1, seed=1)
    assert found[0].stair_mm < 1e-6


def test_strength_is_lost_when_the_load_runs_across_layers():
    """A rod that may not be turned over stands upright: 84 % of the strength along its axis remains."""
    rule = OrientationRule(Freedom.ABOUT_Z)
    standing = rank_orientations(box_mesh(10, 12, 90), rule, layer_mm=0.1, seed=1, load=np.array([0, 0, 1.0]))
    assert standing[0].strength == 0.84
    assert "strength along the load 84%" in standing[0].reason


def test_advice_keeps_to_the_rule():
    """Within a cone of 30 degrees."""
    rule = OrientationRule(Freedom.UPRIGHT_CONE, cone_deg=30)
    found = rank_orientations(box_mesh(10, 20, 90), rule, layer_mm=0.1, seed=2)
    assert all(is_allowed(s.rotation, rule) for s in found)


def test_a_cup_is_proposed_with_its_opening_down():
    """Powder falls out of it; of two turns that are alike in all else, the one that keeps powder costs more."""
    from cakewright.parts.hollows import hollows_of
    from cakewright.parts.rays import RayScene

    raw = (m3.Manifold.cylinder(40, 20, 20, 48) - m3.Manifold.cylinder(40, 17, 17, 48).translate((0, 0, 3))).to_mesh()
    cup = Mesh(np.asarray(raw.vert_properties)[:, :3], np.asarray(raw.tri_verts))
    hollows = hollows_of(cup, RayScene(cup), 1)
    up, down = (hollows.facing(np.array([0, 0, s])) for s in (1.0, -1.0))
    assert up > 1000 and down < 0.05 * up


def test_a_rule_may_name_another_direction_as_up():
    """The file's Y is up: turns about the vertical keep it there, and the file's own pose is not allowed."""
    rule = OrientationRule(Freedom.ABOUT_Z, up=(0.0, 1.0, 0.0))
    turns = candidate_rotations(box_mesh(3, 4, 5), rule, seed=1, count=8)
    assert np.allclose(turns @ np.array([0, 1.0, 0]), [0, 0, 1])
    assert all(is_allowed(r, rule) for r in turns) and not is_allowed(np.eye(3), rule)
