"""The independent check: exact gaps, containment, walls."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.model.mesh import Mesh
from cakewright.nesting.task import NestSpace
from cakewright.nesting.trees import triangles_gap2, winding
from cakewright.nesting.verify import verify_nest
from tests.conftest import box_mesh
from tests.nesting.conftest import place

SPACE = NestSpace(100, 100, 100)


def still():
    return 0.0


def check(meshes, placements, clearance, space=SPACE):
    return verify_nest(meshes, placements, space, clearance, clock=still)


@pytest.mark.parametrize(
    "shift, gap", [((13, 0, 0), 3.0), ((13, 14, 0), 5.0), ((12, 12, 11), 3.0), ((10.5, 5, 3), 0.5)]
)
def test_gap_of_two_boxes_is_the_closed_form(one_cube, shift, gap):
    """Face, edge and corner distance of two blocks."""
    seen = check(
        {"c": one_cube},
        [place("a", "c", one_cube, (10, 10, 0)), place("b", "c", one_cube, np.add((10, 10, 0), shift))],
        5.5,
    )
    assert seen.tightest.gap_mm == pytest.approx(gap, abs=1e-12)
    assert [v.gap_mm for v in seen.violations] == pytest.approx([gap])


def test_gap_is_kept_to_within_rounding(one_cube):
    """Exactly the clearance is enough; 0.1 µm short is within tolerance, 10 µm short is not."""
    placements = [place("a", "c", one_cube, (0, 0, 0)), place("b", "c", one_cube, (13, 0, 0))]
    assert check({"c": one_cube}, placements, 3.0).is_clear
    assert check({"c": one_cube}, placements, 3.0001).is_clear
    assert not check({"c": one_cube}, placements, 3.01).is_clear


def test_a_piece_wholly_inside_another_is_found(one_cube):
    """No triangles meet, yet the small cube is in the solid of the large one."""
    big = box_mesh(40, 40, 40)
    seen = check(
        {"big": big, "c": one_cube}, [place("b", "big", big, (0, 0, 0)), place("a", "c", one_cube, (15, 15, 15))], 1.0
    )
    assert [(v.first, v.second, v.gap_mm) for v in seen.violations] == [("b", "a", 0.0)]


def test_a_piece_in_a_cavity_keeps_its_distance(cube_in_a_sealed_box):
    """A cavity is not solid: the cube in it is 10 mm from its walls."""
    meshes, placements = cube_in_a_sealed_box
    assert check(meshes, placements, 3.0).is_clear
    assert check(meshes, placements, 10.5).violations[0].gap_mm == pytest.approx(10.0 - 5.0 + 5.0, abs=1e-9)


@pytest.mark.parametrize("at, by", [((-0.5, 5, 0), 0.5), ((5, 91, 0), 1.0), ((5, 5, -2), 2.0), ((5, 5, 95), 5.0)])
def test_pieces_through_walls_are_named_with_the_distance(one_cube, at, by):
    """Floor, ceiling and both walls."""
    assert check({"c": one_cube}, [place("a", "c", one_cube, at)], 3.0).outside == (("a", pytest.approx(by)),)


def test_the_wall_margin_counts(one_cube):
    """Inside the chamber but within the margin is outside."""
    seen = check(
        {"c": one_cube}, [place("a", "c", one_cube, (3, 20, 0))], 3.0, NestSpace(100, 100, 100, wall_margin_mm=5)
    )
    assert seen.outside == (("a", pytest.approx(2.0)),)


@pytest.mark.parametrize("shift, clear", [(10.0, True), (10.00005, True), (9.99, False), (5.0, False), (0.0, False)])
def test_at_zero_clearance_touching_is_allowed_and_overlap_is_not(one_cube, shift, clear):
    """Blocks that share a face are clear; blocks that share a slab, however aligned, are not."""
    seen = check(
        {"c": one_cube}, [place("a", "c", one_cube, (10, 10, 0)), place("b", "c", one_cube, (10 + shift, 10, 0))], 0.0
    )
    assert seen.is_clear is clear


def test_open_meshes_are_judged_at_zero_clearance_too(one_cube):
    """A block without lid encloses no solid for the intersection; points under its skin are probed."""
    lidless = Mesh(one_cube.vertices, one_cube.faces[[i for i in range(12) if i not in (2, 3)]])
    meshes = {"c": one_cube, "o": lidless}
    assert check(meshes, [place("a", "c", one_cube, (0, 0, 0)), place("b", "o", lidless, (10, 0, 0))], 0.0).is_clear
    assert not check(meshes, [place("a", "c", one_cube, (0, 0, 0)), place("b", "o", lidless, (6, 2, 0))], 0.0).is_clear


def test_triangle_distance_agrees_with_sampling():
    """Against a dense sampling of both triangles: never larger, and close to it."""
    rng = np.random.default_rng(7)
    u = np.array([(i, j, 60 - i - j) for i in range(61) for j in range(61 - i)]) / 60.0
    for _ in range(60):
        a, b = rng.normal(size=(3, 3)), rng.normal(size=(3, 3))
        b[:, 0] += 0.8
        p, q = u @ a, u @ b
        sampled = np.sqrt(min(((p[i : i + 200, None] - q[None]) ** 2).sum(axis=2).min() for i in range(0, len(p), 200)))
        exact = np.sqrt(triangles_gap2(a, b))
        assert exact <= sampled + 1e-12
        assert exact >= sampled - 0.12


def test_winding_number_of_a_cube(one_cube):
    """One inside, none outside."""
    assert winding(np.array([5.0, 5, 5]), one_cube.vertices, one_cube.faces) == pytest.approx(1.0)
    assert winding(np.array([15.0, 5, 5]), one_cube.vertices, one_cube.faces) == pytest.approx(0.0, abs=1e-12)


def test_a_placement_without_mesh_is_named(one_cube):
    """The piece and the part are in the message."""
    with pytest.raises(InputError, match=r"piece a.*'gone'"):
        check({}, [place("a", "gone", one_cube, (0, 0, 0))], 1.0)
