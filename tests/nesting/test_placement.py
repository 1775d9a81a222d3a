"""What a plan accepts as a placement: a turn, never a mirror, a scale or a shear."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from cakewright.errors import GeometryError
from cakewright.model.build import Placement


def placed(rotation):
    return Placement("L01-1", "part", 1, np.asarray(rotation, dtype=np.float64), np.zeros(3), 0.0, 1.0)


@given(st.integers(0, 2**32 - 1))
def test_every_turn_is_accepted(seed):
    """Random turns, also written with seven digits as files do."""
    turn = Rotation.random(random_state=seed).as_matrix()
    assert placed(turn).rotation is not None
    assert placed(np.round(turn, 7)).rotation is not None


@pytest.mark.parametrize(
    "wrong",
    [
        np.diag([1.0, 1.0, -1.0]),
        np.eye(3) * 1.01,
        np.diag([2.0, 0.5, 1.0]),
        [[1.0, 0.01, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        np.zeros((3, 3)),
        np.full((3, 3), np.nan),
        np.eye(2),
    ],
)
def test_what_is_no_turn_is_refused(wrong):
    """Mirrored, scaled, stretched, sheared, flat, not a number, of another size."""
    with pytest.raises(GeometryError, match="not a proper rotation"):
        placed(wrong)
