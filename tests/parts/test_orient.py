"""Turns keep to their rule and are proper."""

import numpy as np
import pytest

from cakewright.model.part import Freedom, OrientationRule
from cakewright.parts.orient import axis_rotations, candidate_rotations, is_allowed, turn_onto


def are_proper(turns):
    return np.allclose(turns @ np.swapaxes(turns, 1, 2), np.eye(3), atol=1e-12) and np.allclose(np.linalg.det(turns), 1)


def test_a_cube_has_24_turns():
    """All different, all proper, the untouched one first."""
    turns = axis_rotations()
    assert len({tuple(r.ravel()) for r in turns}) == 24
    assert are_proper(turns) and np.array_equal(turns[0], np.eye(3))


@pytest.mark.parametrize("freedom", list(Freedom))
@pytest.mark.parametrize("count", [1, 6, 24, 100])
def test_every_candidate_keeps_to_the_rule(one_cube, freedom, count):
    """What the nester is given, the checker allows."""
    rule = OrientationRule(freedom, cone_deg=20)
    turns = candidate_rotations(one_cube, rule, seed=3, count=count)
    assert are_proper(turns)
    assert len(turns) == (1 if freedom is Freedom.FIXED else count)
    assert all(is_allowed(r, rule) for r in turns)
    assert np.allclose(turns[0], np.eye(3))


def test_same_seed_same_turns(one_cube):
    """Repeatable, and another seed gives others."""
    rule = OrientationRule()
    first, again, other = (candidate_rotations(one_cube, rule, seed, 60) for seed in (1, 1, 2))
    assert np.array_equal(first, again) and not np.array_equal(first, other)


def test_a_tilt_outside_the_cone_is_not_allowed():
    """21 degrees against a limit of 20."""
    tilted = turn_onto(np.array([np.sin(np.radians(21)), 0, np.cos(np.radians(21))]))
    assert not is_allowed(tilted, OrientationRule(Freedom.UPRIGHT_CONE, cone_deg=20))
    assert is_allowed(tilted, OrientationRule(Freedom.UPRIGHT_CONE, cone_deg=22))
    assert np.allclose(tilted @ [np.sin(np.radians(21)), 0, np.cos(np.radians(21))], [0, 0, 1])
