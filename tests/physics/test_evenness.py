"""Uneven builds are seen, and the advice names the right piece."""

import numpy as np
import pytest

from cakewright.physics.evenness import advice, area_jumps, evenness_findings, zones
from cakewright.physics.grid import CakeGrid, solid_grid
from cakewright.physics.layers import layer_profile
from tests.conftest import box_mesh
from tests.physics.worlds import empty, placed

MESHES = {"cube": box_mesh(10, 10, 10), "plate": box_mesh(70, 70, 4)}
GRID = CakeGrid.over((80.0, 80.0), 80.0, 0.0, 5.0)


def spread_out():
    """64 cubes, one in each 20 mm zone: as even as can be."""
    return [
        placed(f"P{x}{y}{z}", (x * 20 + 5, y * 20 + 5, z * 20 + 5))
        for x in range(4)
        for y in range(4)
        for z in range(4)
    ]


def test_an_even_build_has_no_advice():
    """Equal cubes in equal zones: no variation, no piece to move, densities exact."""
    solid = solid_grid(MESHES, spread_out(), GRID)
    found = zones(solid, 4)
    np.testing.assert_allclose(found.share, 1000 / 8000, rtol=1e-9)
    assert found.variation == pytest.approx(0, abs=1e-9)
    assert advice(solid, found) is None


def test_the_largest_piece_in_the_crowded_zone_is_named():
    """A block in a corner full of cubes: it should go, and far away."""
    corner = [placed("little", (10, 10, 10)), placed("far", (60, 60, 60))]
    meshes = {**MESHES, "block": box_mesh(20, 20, 9)}
    solid = solid_grid(meshes, [placed("big", (0, 0, 0), part="block", size_z=9), *corner], GRID)
    move = advice(solid, zones(solid, 4))
    assert move is not None
    assert move.piece == "big"
    assert move.from_mm == pytest.approx((10, 10, 10))
    assert np.linalg.norm(np.array(move.to_mm) - move.from_mm) >= 20
    assert move.crowding > 10


def test_zone_means_keep_the_volume():
    """Zones of unequal size still hold all plastic."""
    solid = solid_grid(MESHES, spread_out(), GRID)
    found = zones(solid, 5)
    volumes = np.einsum("i,j,k->ijk", *(np.diff(e) for e in found.edges_mm))
    assert (found.share * volumes).sum() == pytest.approx(64_000)


def test_a_plate_lying_flat_is_a_jump():
    """A 70 mm plate starts in one layer: up 49 cm² at its bottom, down at its top."""
    plate = [placed("plate", (5, 5, 10), part="plate", size_z=4)]
    profile = layer_profile(MESHES, plate, 0.1, 30)
    jumps = area_jumps(profile, 6400)
    np.testing.assert_allclose(jumps, [(10, 4900), (14, -4900)], rtol=1e-6)
    codes = [f.code for f in evenness_findings(profile, solid_grid(MESHES, plate, GRID), 6400)]
    assert codes == ["heat.area-jump", "heat.crowded-zone"]


def test_an_empty_cake_is_even():
    """Nothing in it: nothing to say."""
    solid = solid_grid(MESHES, [], GRID)
    assert evenness_findings(empty(80), solid, 6400) == []
