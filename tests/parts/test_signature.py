"""Twins are found whatever they are called, and mirror twins are named."""

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.parts.moments import surface_moments
from cakewright.parts.orient import random_rotations
from cakewright.parts.signature import look_alikes, signature
from cakewright.parts.smallest_box import smallest_box
from tests.conftest import box_mesh
from tests.parts.test_measure import joined


@pytest.fixture
def handed_bracket():
    """Three blocks that no turn brings onto their mirror image."""
    return joined(box_mesh(60, 20, 5), box_mesh(5, 20, 25, (0, 0, 5)), box_mesh(12, 8, 9, (40, 12, 5)))


def mirrored(mesh):
    return Mesh(mesh.vertices * [-1, 1, 1], mesh.faces[:, ::-1])


def turned(mesh, seed=5):
    return mesh.placed(random_rotations(1, seed)[0], np.array([300.0, -20, 7]))


def split(mesh):
    """Every triangle cut into four: another export of the same shape."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    ab, bc, ca = (a + b) / 2, (b + c) / 2, (c + a) / 2
    corners = np.concatenate([np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))])
    return Mesh(corners.reshape(-1, 3), np.arange(len(corners) * 3).reshape(-1, 3))


def kinds(**meshes):
    return {(p.first, p.second): p.kind for p in look_alikes({k: signature(m) for k, m in meshes.items()})}


def test_moments_of_a_cube_follow_the_closed_form(one_cube):
    """Mean of x² over the surface of a 10 mm cube is 13.9 mm² in each direction; nothing is lopsided."""
    second = surface_moments(one_cube).second
    # two faces at x = +-5 (mean 25), four faces with x uniform in +-5 (mean 25/3)
    assert np.allclose(second, np.eye(3) * (2 * 25 + 4 * 25 / 3) / 6)
    assert np.allclose(surface_moments(one_cube).third, 0, atol=1e-9)


def test_moved_turned_and_cut_finer_is_the_same(handed_bracket):
    """Renamed, rotated, re-exported."""
    assert kinds(a=handed_bracket, b=turned(split(handed_bracket))) == {("a", "b"): "same"}


def test_the_mirror_twin_is_named(handed_bracket):
    """Left and right."""
    assert kinds(left=handed_bracket, right=turned(mirrored(handed_bracket))) == {("left", "right"): "mirror"}


def test_a_threefold_axis_does_not_hide_the_hand():
    """A propeller of three pitched blades; third moments alone cannot tell it from its mirror image."""
    blade = box_mesh(20, 6, 1.5, (3, -3, -0.75))
    pitch, around = np.radians(30), np.radians(120)
    tilt = np.array([[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]])
    spin = np.array([[np.cos(around), -np.sin(around), 0], [np.sin(around), np.cos(around), 0], [0, 0, 1.0]])
    blades = [blade.placed(np.linalg.matrix_power(spin, k) @ tilt, np.zeros(3)) for k in range(3)]
    propeller = joined(*blades)
    assert kinds(left=propeller, right=turned(mirrored(propeller))) == {("left", "right"): "mirror"}
    assert kinds(one=propeller, two=turned(propeller)) == {("one", "two"): "same"}


def test_a_part_that_equals_its_mirror_image_has_no_hand():
    """A plate with a block in the middle of one edge."""
    plate = joined(box_mesh(60, 20, 5), box_mesh(10, 5, 9, (25, 15, 5)))
    assert kinds(a=plate, b=turned(mirrored(plate))) == {("a", "b"): "same"}


def test_an_axis_of_symmetry_does_not_hide_the_hand():
    """An S of three blocks keeps its hand under a half turn."""
    s_shape = joined(box_mesh(60, 10, 10), box_mesh(10, 20, 6, (0, 10, 0)), box_mesh(10, 20, 6, (50, -20, 0)))
    assert kinds(left=s_shape, right=turned(mirrored(s_shape))) == {("left", "right"): "mirror"}


def test_a_moved_block_is_another_part_that_looks_alike(handed_bracket):
    """Same box, same mass, other place of the block: the classic mix-up at the sorting table."""
    other = joined(box_mesh(60, 20, 5), box_mesh(5, 20, 25, (0, 0, 5)), box_mesh(12, 8, 9, (30, 12, 5)))
    assert kinds(a=handed_bracket, b=other) == {("a", "b"): "near"}


def test_two_percent_larger_is_told_by_the_scale(handed_bracket):
    """6 % more mass."""
    assert kinds(a=handed_bracket, b=handed_bracket.scaled(1.02)) == {}


def test_the_smallest_box_does_not_care_how_a_part_lies():
    """A turned block still measures its edges."""
    assert smallest_box(turned(box_mesh(60, 20, 5))) == pytest.approx((60, 20, 5), abs=1e-3)


def rod(facets, radius=6.0, length=20.0):
    """A round rod with so many flat facets, corners on the circle."""
    around = 2 * np.pi * np.arange(facets) / facets
    ring = np.stack([radius * np.cos(around), radius * np.sin(around)], axis=1)
    low, high = np.column_stack([ring, np.zeros(facets)]), np.column_stack([ring, np.full(facets, length)])
    k, n = np.arange(facets), (np.arange(facets) + 1) % facets
    sides = np.concatenate([np.stack([k, n, n + facets], axis=1), np.stack([k, n + facets, k + facets], axis=1)])
    middle, top = 2 * facets, 2 * facets + 1
    ends = [np.stack([np.full(facets, middle), n, k], axis=1)]
    ends.append(np.stack([np.full(facets, top), k + facets, n + facets], axis=1))
    return Mesh(np.vstack([low, high, [[0, 0, 0], [0, 0, length]]]), np.concatenate([sides, *ends]))


def test_coarser_facets_on_a_curve_are_the_same_part():
    """0.3 % less volume, a skin of 0.01 mm: another export, not another part."""
    assert kinds(fine=rod(360), coarse=turned(rod(47))) == {("fine", "coarse"): "same"}


def test_a_rod_turned_down_by_a_tenth_is_another_part():
    """1.7 % less volume: callipers and scale do not tell, the signature does."""
    assert kinds(full=rod(360), slim=turned(rod(360, radius=5.95))) == {("full", "slim"): "near"}
