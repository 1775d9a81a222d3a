"""Layers come from exact cuts: areas, outlines and volumes that can be checked by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cakewright.errors import GeometryError
from cakewright.model.mesh import Mesh
from cakewright.physics.layers import height_of, layer_profile, piece_slices
from tests.conftest import box_mesh
from tests.physics.worlds import placed


def turned(about_x_deg, about_z_deg=0.0):
    a, b = np.radians(about_x_deg), np.radians(about_z_deg)
    x = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    z = np.array([[np.cos(b), -np.sin(b), 0], [np.sin(b), np.cos(b), 0], [0, 0, 1]])
    return z @ x


@pytest.fixture
def pipe():
    """A square pipe, 20 mm outside, 10 mm inside, 30 mm long: a hole must count as a hole."""
    outer, inner = box_mesh(20, 20, 30), box_mesh(10, 10, 30, at=(5, 5, 0))
    keep = lambda m: [f for f in m.faces if np.ptp(m.vertices[f][:, 2]) > 0]  # noqa: E731 - side walls only
    walls = [*keep(outer), *[f[::-1] + 8 for f in keep(inner)]]
    ring = [(0, 1, 9, 8), (1, 3, 11, 9), (3, 2, 10, 11), (2, 0, 8, 10)]
    for a, b, c, d in ring:  # bottom looks down, top looks up
        walls += [(a, c, b), (a, d, c), (a + 4, b + 4, c + 4), (a + 4, c + 4, d + 4)]
    return Mesh(np.vstack([outer.vertices, inner.vertices]), np.array(walls))


def test_a_cube_fills_its_own_layers_and_no_others(one_cube):
    """A 10 mm cube lifted 5 mm: 100 layers of 100 mm² and 40 mm of outline, powder above and below."""
    p = layer_profile({"cube": one_cube}, [placed("A", (3, 4, 5))], 0.1, 20)
    assert p.layers == 200
    np.testing.assert_allclose(p.area_mm2[50:150], 100)
    np.testing.assert_allclose(p.contour_mm[50:150], 40)
    assert p.outlines[50:150].tolist() == [1] * 100
    assert p.area_mm2[:50].sum() + p.area_mm2[150:].sum() == 0


def test_a_hole_is_not_scanned(pipe):
    """A pipe has the area of its wall and the outline of both its faces."""
    p = layer_profile({"cube": pipe}, [placed("A", size_z=30)], 0.1, 30)
    np.testing.assert_allclose(p.area_mm2, 300)
    np.testing.assert_allclose(p.contour_mm, 120)


def test_pieces_add_up(one_cube):
    """Two cubes side by side and one above: the layers show two, then one."""
    three = [placed("A"), placed("B", (20, 0, 0)), placed("C", (0, 0, 12))]
    p = layer_profile({"cube": one_cube}, three, 0.2, 25)
    assert p.outlines[:50].tolist() == [2] * 50
    assert p.outlines[50:60].tolist() == [0] * 10
    assert p.outlines[60:110].tolist() == [1] * 50
    assert p.volume_mm3 == pytest.approx(3000)


def test_a_tilted_wedge_follows_its_slope():
    """A tetrahedron's cut shrinks with the square of the height left."""
    tetra = Mesh(np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10.0]]),
                 np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))  # fmt: skip
    p = layer_profile({"cube": tetra}, [placed("A")], 0.1, 10)
    z = (np.arange(100) + 0.5) * 0.1
    np.testing.assert_allclose(p.area_mm2, (10 - z) ** 2 / 2)
    np.testing.assert_allclose(p.contour_mm, (10 - z) * (2 + np.sqrt(2)))


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 360), st.floats(0, 360), st.floats(0, 5), st.sampled_from([0.06, 0.1, 0.12, 0.15]))
def test_layers_hold_the_volume_however_a_part_is_turned(a, b, lift, layer):
    """Sum of areas x layer equals the volume within the bound of the mid-layer rule."""
    mesh, r = box_mesh(8, 12, 20), turned(a, b)
    low = float((mesh.vertices @ r.T)[:, 2].min())
    p = layer_profile({"cube": mesh}, [placed("A", (0, 0, lift - low), r)], layer, 40)
    flat = 2 * (np.abs(r[2]) @ [12 * 20, 8 * 20, 8 * 12])
    assert abs(p.volume_mm3 - 1920) <= 0.5 * layer * flat + 1e-6
    assert (p.area_mm2 >= 0).all()


def test_halving_the_layer_quarters_the_error():
    """On a sloped part the mid-layer rule is of second order."""
    mesh, r = box_mesh(8, 12, 20), turned(31, 17)
    low = float((mesh.vertices @ r.T)[:, 2].min())
    errors = [
        abs(layer_profile({"cube": mesh}, [placed("A", (0, 0, 0.37 - low), r)], h, 40).volume_mm3 - 1920)
        for h in (0.8, 0.4, 0.2, 0.1)
    ]
    order = np.log2(errors[0] / errors[-1]) / 3
    assert order > 1.7


def test_equal_pieces_at_other_heights_are_cut_alike(one_cube):
    """Cached cuts give what cutting each alone gives, also when the height is no whole number of layers."""
    spots = [placed("A", (0, 0, 0.03)), placed("B", (20, 0, 3.03)), placed("C", (40, 0, 3.08))]
    together = layer_profile({"cube": one_cube}, spots, 0.1, 15)
    alone = [layer_profile({"cube": one_cube}, [s], 0.1, 15) for s in spots]
    np.testing.assert_allclose(together.area_mm2, sum(p.area_mm2 for p in alone))
    assert len({id(cut.area_mm2) for _, cut in piece_slices({"cube": one_cube}, spots, 0.1)}) == 2


def test_an_open_surface_is_refused(one_cube):
    """Without its top a cube has no volume to trust: the piece is named."""
    side = box_mesh(10, 10, 10).faces[[0, 1, 4, 5, 6, 7, 8, 9, 10, 11]]
    with pytest.raises(GeometryError, match=r"L02-01.*open or inside out"):
        layer_profile({"cube": Mesh(one_cube.vertices, side)}, [placed("L02-01", (0, 0, 1))], 0.1, 20)


def test_a_piece_above_the_build_is_refused(one_cube):
    """Layers that do not exist cannot be cut."""
    with pytest.raises(GeometryError, match="between the platform and the height"):
        layer_profile({"cube": one_cube}, [placed("A", (0, 0, 5))], 0.1, 12)
    with pytest.raises(GeometryError, match="between the platform and the height"):
        layer_profile({"cube": one_cube}, [placed("A", (0, 0, -5))], 0.1, 12)


def test_a_missing_mesh_is_named(one_cube):
    """The error names part and piece."""
    with pytest.raises(GeometryError, match="A: no mesh for part 'ring'"):
        layer_profile({"cube": one_cube}, [placed("A", part="ring")], 0.1, 12)


def test_height_is_counted_in_whole_layers(one_cube):
    """30.000000001 mm at 0.1 mm is 300 layers; 30.05 mm is 301."""
    for height, layers in ((30.000000001, 300), (29.999999999, 300), (30.05, 301)):
        p = layer_profile({"cube": one_cube}, [placed("A")], 0.1, height)
        assert p.layers == layers
        assert height_of(p) == pytest.approx(layers * 0.1)
