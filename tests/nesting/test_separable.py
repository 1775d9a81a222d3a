"""Every piece has a way out, or the group that holds together is named."""

from cakewright.nesting.separable import block_of, removal, take_apart
from cakewright.nesting.task import NestSpace
from tests.conftest import box_mesh
from tests.nesting.conftest import joined, place

SPACE = NestSpace(60, 60, 60)


def test_a_stack_is_unpacked_from_the_top(one_cube):
    """Three cubes on top of each other leave from above."""
    placements = [place(n, "c", one_cube, (10, 10, z)) for n, z in (("low", 0), ("high", 26), ("middle", 13))]
    seen = removal({"c": one_cube}, placements, SPACE, voxel_mm=1.0)
    assert seen.order == ("high", "middle", "low")
    assert seen.is_free
    assert seen.hooked == ()


def test_two_interlocked_rings_are_stuck(two_interlocked_rings):
    """A chain cannot be taken apart, even though its links are clear of each other."""
    meshes, placements = two_interlocked_rings
    seen = removal(meshes, placements, SPACE, voxel_mm=1.0)
    assert [sorted(group) for group in seen.stuck] == [["flat", "upright"]]
    assert seen.order == ()


def test_a_third_piece_is_still_freed_beside_a_chain(two_interlocked_rings, one_cube):
    """What is not part of the knot is in the order."""
    meshes, placements = two_interlocked_rings
    seen = removal({**meshes, "c": one_cube}, [*placements, place("c", "c", one_cube, (2, 2, 2))], SPACE, voxel_mm=1.0)
    assert seen.order == ("c",)
    assert len(seen.stuck) == 1


def test_a_cube_in_a_sealed_box_is_stuck(cube_in_a_sealed_box):
    """The box can be lifted, but the cube never leaves it; both are named."""
    meshes, placements = cube_in_a_sealed_box
    seen = removal(meshes, placements, SPACE, voxel_mm=1.0)
    assert not seen.is_free
    assert {n for group in seen.stuck for n in group} >= {"cube"}


def test_a_piece_in_the_jaw_of_a_hook_is_drawn_out_sideways():
    """One arm lies over the block, the other under it: neither can be lifted straight.

    The hook stands against the walls, so only the block can move.
    """
    arms = (box_mesh(20, 20, 5, at=(5, 0, 25)), box_mesh(20, 20, 5, at=(5, 0, 0)))
    meshes = {"hook": joined(box_mesh(5, 20, 30), *arms), "block": box_mesh(10, 10, 6)}
    at = {"hook": (0, 1, 0), "block": (8, 6, 10)}
    placements = [place(k, k, meshes[k], at[k]) for k in meshes]
    seen = removal(meshes, placements, NestSpace(60, 22, 60), voxel_mm=1.0)
    assert seen.order == ("block", "hook")
    assert seen.is_free


def test_a_lid_over_a_cup_is_named_as_hook(one_cube):
    """A cup turned over a cube reaches beside it: the cube is hooked until the cup is off."""
    cup = joined(box_mesh(22, 22, 4, at=(0, 0, 20)), box_mesh(4, 22, 20), box_mesh(4, 22, 20, at=(18, 0, 0)))
    placements = [place("cube", "c", one_cube, (16, 16, 2)), place("cup", "cup", cup, (10, 10, 0))]
    seen = removal({"c": one_cube, "cup": cup}, placements, SPACE, voxel_mm=1.0)
    assert seen.order == ("cup", "cube")
    assert seen.hooked == (("cube", ("cup",)),)


def test_an_empty_cake_is_free():
    """Nothing placed, nothing stuck."""
    assert removal({}, [], SPACE, voxel_mm=1.0).is_free


def test_what_seems_stuck_on_coarse_cells_is_looked_at_more_closely():
    """A ledge ends 0.9 mm beside the foot of a tower that reaches over it: on large cells each holds the other."""
    low = joined(box_mesh(10, 10, 10), box_mesh(2.3, 10, 2, at=(10, 0, 8)))
    foot, tower, roof = ((6.8, 6, 13.2, 0), (5, 20, 15, 0), (9, 6, 11, 14))
    tall = joined(*(box_mesh(wide, 10, high, at=(x, 0, z)) for wide, high, x, z in (foot, tower, roof)))
    meshes = {"low": low, "tall": tall}
    placements = [place(key, key, mesh, (0, 0, 0)) for key, mesh in meshes.items()]
    space = NestSpace(20, 10, 20)
    blocks = [block_of(meshes[p.part_key], p, space, 2.0) for p in placements]
    assert take_apart(blocks, (10, 5, 10))[1]
    way = removal(meshes, placements, space, voxel_mm=2.0)
    assert way.order == ("tall", "low")
