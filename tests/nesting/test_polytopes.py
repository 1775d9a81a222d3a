"""Convex pieces and forbidden shifts, against volumes, hulls of sums and the exact intersection of solids."""

import itertools

import manifold3d
import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull

from cakewright.model.mesh import Mesh
from cakewright.nesting.polytopes import convex_of, convex_pieces, overlap_planes
from cakewright.nesting.shifts import different, make_shifts
from tests.conftest import box_mesh
from tests.nesting.conftest import cells_mesh, cube_rotations, joined, ring_mesh

RNG = np.random.default_rng(7)


def volume(pieces):
    return sum(ConvexHull(p.corners).volume for p in pieces)


def random_hull(count=9):
    return convex_of(RNG.normal(size=(count, 3)))


def test_a_block_is_one_piece():
    """A convex part stays whole."""
    pieces = convex_pieces(box_mesh(3, 4, 5))
    assert len(pieces) == 1
    assert volume(pieces) == pytest.approx(60)


def test_a_ring_falls_into_four_bars():
    """Pieces together are the solid, to the last cubic millimetre."""
    pieces = convex_pieces(ring_mesh(30, 20, 4))
    assert len(pieces) == 4
    assert volume(pieces) == pytest.approx((30**2 - 20**2) * 4)


def test_an_l_of_cells_and_its_notch():
    """Three cells in an L give two blocks."""
    pieces = convex_pieces(cells_mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]]))
    assert sorted(round(volume([p]), 6) for p in pieces) == [1.0, 2.0]


def test_two_bodies_in_one_part():
    """A part of two bodies is two pieces."""
    assert len(convex_pieces(joined(box_mesh(1, 1, 1), box_mesh(1, 1, 1, at=(3, 0, 0))))) == 2


def test_a_mesh_with_a_missing_triangle_is_repaired_first():
    """A small hole in a block is closed as the intake would close it."""
    block = trimesh.creation.box((3, 4, 5)).subdivide().subdivide().subdivide()
    assert volume(convex_pieces(Mesh(block.vertices, block.faces[1:]))) == pytest.approx(60)


def test_a_single_triangle_encloses_nothing():
    """No solid, no pieces."""
    assert convex_pieces(Mesh(np.eye(3), np.array([[0, 1, 2]]))) is None


def test_forbidden_shifts_are_the_hull_of_differences():
    """Planes of the Minkowski sum, found without a hull, against the hull of all corner differences."""
    for _ in range(20):
        a, b = random_hull(), random_hull()
        planes = overlap_planes(a, b)
        hull = ConvexHull((a.corners[:, None] - b.corners[None]).reshape(-1, 3))
        shifts = RNG.normal(size=(500, 3)) * 2
        inside = (planes[:, :3] @ shifts.T < planes[:, 3:]).all(axis=0)
        truth = (hull.equations[:, :3] @ shifts.T + hull.equations[:, 3:] < 0).all(axis=0)
        assert (inside == truth).all()


def test_forbidden_shifts_agree_with_solids_that_intersect():
    """A shift is forbidden exactly when the moved solids have volume in common."""
    a, b = random_hull(6), random_hull(6)
    planes = overlap_planes(a, b)
    first = manifold3d.Manifold.hull_points(a.corners)
    for shift in RNG.normal(size=(60, 3)) * 1.5:
        shared = (first ^ manifold3d.Manifold.hull_points(b.corners).translate(shift)).volume()
        assert (shared > 1e-9) == bool((planes[:, :3] @ shift < planes[:, 3] - 1e-6).all())


def test_a_cube_looks_the_same_after_all_24_turns():
    """Turns that change nothing are not tried twice."""
    assert len(different(convex_pieces(box_mesh(2, 2, 2)), cube_rotations())) == 1
    assert len(different(convex_pieces(box_mesh(1, 2, 3)), cube_rotations())) == 6


def test_the_table_holds_every_pair_of_turns():
    """For each two poses the table forbids just the shifts that make their boxes overlap."""
    pieces = convex_pieces(box_mesh(1, 2, 3))
    turns = different(pieces, cube_rotations())
    table = make_shifts([pieces], [turns], 0.5)
    sizes = table.high - table.low
    for p, q in itertools.product(range(len(turns)), repeat=2):
        entry = table.pair[p, q]
        first, last = table.poly_at[entry], table.poly_at[entry + 1]
        assert last == first + 1
        planes = table.planes[table.plane_at[first] : table.plane_at[last]]
        shifts = RNG.uniform(-4.5, 4.5, size=(200, 3))
        local = shifts @ table.frame[p]
        forbidden = (local @ planes[:, :3].T < planes[:, 3]).all(axis=1)
        gap = np.maximum(shifts + table.low[q] - table.high[p], -shifts - table.high[q] + table.low[p])
        assert (forbidden == (gap < 0.5).all(axis=1)).all()
        assert sizes[p].prod() == pytest.approx(6)
