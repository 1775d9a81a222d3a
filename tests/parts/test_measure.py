"""Measuring against closed forms."""

import numpy as np
import pytest

from cakewright.model.mesh import Mesh
from cakewright.parts.measure import measure, triangle_normals
from cakewright.parts.topology import shell_volumes, topology_of
from tests.conftest import box_mesh


def joined(*meshes: Mesh) -> Mesh:
    offsets = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    return Mesh(np.vstack([m.vertices for m in meshes]),
                np.vstack([m.faces + o for m, o in zip(meshes, offsets, strict=True)]))  # fmt: skip


def inside_out(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.faces[:, ::-1])


def test_a_cube_measures_what_a_ruler_says(one_cube):
    """1000 mm³, 600 mm², closed, one shell."""
    found = measure(one_cube)
    assert found.volume_mm3 == pytest.approx(1000)
    assert found.area_mm2 == pytest.approx(600)
    assert found.size_mm == (10, 10, 10)
    assert (found.triangles, found.shells, found.is_watertight, found.is_oriented) == (12, 1, True, True)


def test_far_coordinates_cost_no_digits():
    """A 1 mm cube ten kilometres from the origin still holds a cubic millimetre."""
    assert measure(box_mesh(1, 1, 1, (1e7, 1e7, 1e7))).volume_mm3 == pytest.approx(1.0, rel=1e-6)


def test_inside_out_has_negative_volume(one_cube):
    """The sign tells which way the faces look."""
    assert measure(inside_out(one_cube)).volume_mm3 == pytest.approx(-1000)


def test_a_hollow_block_has_two_shells_and_the_difference():
    """A void counts negative."""
    hollow = joined(box_mesh(10, 10, 10), inside_out(box_mesh(4, 4, 4, (3, 3, 3))))
    assert measure(hollow).volume_mm3 == pytest.approx(1000 - 64)
    assert shell_volumes(hollow, topology_of(hollow)) == pytest.approx([1000, -64])


def test_a_missing_lid_is_an_open_edge(one_cube):
    """Without two triangles four edges are open."""
    topology = topology_of(Mesh(one_cube.vertices, one_cube.faces[2:]))
    assert not topology.is_closed
    assert len(topology.open_edges) == 4


def test_one_flipped_triangle_clashes_with_three_neighbours(one_cube):
    """Closed, but not oriented."""
    faces = one_cube.faces.copy()
    faces[0] = faces[0, ::-1]
    topology = topology_of(Mesh(one_cube.vertices, faces))
    assert topology.is_closed and not topology.is_oriented
    assert len(topology.clashing_edges) == 3


def test_normals_point_outwards(one_cube):
    """Each face normal looks away from the middle."""
    away = one_cube.triangles.mean(axis=1) - 5
    assert (np.einsum("ij,ij->i", triangle_normals(one_cube), away) > 0).all()
