"""A crowded zone is told with its hours, and moving the named piece is tried on the solver."""

import numpy as np
import pytest

from cakewright.physics.buildtime import print_time
from cakewright.physics.cake import HeatModel, growth
from cakewright.physics.evenness import advice, zones
from cakewright.physics.grid import CakeGrid, solid_grid
from cakewright.physics.hotzones import hot_zone, hot_zone_finding, hottest_piece, moved_share, opening_of
from cakewright.physics.layers import layer_profile
from cakewright.physics.opening import cool_build
from tests.conftest import box_mesh
from tests.physics.worlds import chamber, machine, placed, powder

MESHES = {"block": box_mesh(50, 50, 50), "cube": box_mesh(12, 12, 12)}
MODEL = HeatModel(grid_mm=10.0)


def lumpy():
    """One thick block in the middle of a 160 x 160 x 155 mm cake, a small cube in a corner."""
    return [
        placed("block", (55, 55, 50), part="block", size_z=50),
        placed("cube", (5, 5, 0), part="cube", size_z=12),
    ]


@pytest.fixture(scope="module")
def found():
    """The lumpy cake, cooled and judged."""
    m, pieces = machine(layer_mm=0.2, minimum_layer_s=20.0), lumpy()
    profile = layer_profile(MESHES, pieces, 0.2, 140)
    t = print_time(profile, m, extra_layers_mm=15.0)
    heat = cool_build(
        MESHES, pieces, profile, t, base_mm=(160.0, 160.0), base_powder_mm=10.0, cover_powder_mm=5.0,
        material=powder(), chamber_type=chamber(), room_c=25.0, model=MODEL,
    )  # fmt: skip
    return hot_zone(
        heat.solid, profile, t, cover_powder_mm=5.0, material=powder(), chamber_type=chamber(), room_c=25.0,
        model=MODEL, opening_s=heat.cooling.opening_s[1],
    )  # fmt: skip


def test_a_lump_in_the_middle_opens_later(found):
    """The same plastic spread evenly would be cold sooner, and the block moved to the side as well."""
    assert found.move.piece == "block"
    assert found.later_h > 0.2
    assert found.saved_h is not None
    assert found.saved_h > 0.1


def test_the_finding_says_hours_price_and_place(found):
    """A person reads where, how much later, what it costs and what to do."""
    said = hot_zone_finding(found, lambda hours: f"{10 * hours:.0f} cu")
    assert said.code == "heat.crowded-zone"
    assert f"{found.later_h:.1f} h later" in said.message
    assert f"{10 * found.later_h:.0f} cu" in said.message
    assert f"wins {found.saved_h:.1f} h" in said.remedy


def test_left_in_the_warm_machine_it_opens_later():
    """The same cake, kept in the switched-off machine to the end."""
    solid = solid_grid(MESHES, lumpy(), CakeGrid.over((160.0, 160.0), 155.0, 10.0, 10.0))
    profile = layer_profile(MESHES, lumpy(), 0.2, 140)
    grown = growth(profile, print_time(profile, machine(layer_mm=0.2), extra_layers_mm=15.0), 10.0, 5.0)
    out, left_in = (
        opening_of(solid.share, solid.grid, grown, powder(), chamber(), 25.0, HeatModel(grid_mm=10.0, in_machine_s=s))
        for s in (0.0, np.inf)
    )
    assert left_in > 1.05 * out


def test_moving_keeps_the_plastic():
    """A shifted piece neither grows nor leaves the cake."""
    solid = solid_grid(MESHES, lumpy(), CakeGrid.over((160.0, 160.0), 155.0, 10.0, 10.0))
    share = moved_share(solid, advice(solid, zones(solid)))
    assert share.sum() == pytest.approx(solid.share.sum(), rel=1e-4)  # full cells are cut at 1
    assert not np.allclose(share, solid.share)


def test_an_even_cake_has_no_hot_zone():
    """Nothing crowded, nothing computed, nothing said."""
    solid = solid_grid({}, [], CakeGrid.over((160.0, 160.0), 155.0, 10.0, 10.0))
    profile = layer_profile({}, [], 0.2, 140)
    t = print_time(profile, machine(layer_mm=0.2), extra_layers_mm=15.0)
    args = {"cover_powder_mm": 5.0, "material": powder(), "chamber_type": chamber(), "room_c": 25.0}
    assert hot_zone(solid, profile, t, **args, model=MODEL, opening_s=1.0) is None


def test_longer_steps_answer_questions_beside_the_main_one():
    """Twice the step moves the opening by less than 0.01 h, so side questions may be asked with it."""
    solid = solid_grid(MESHES, lumpy(), CakeGrid.over((160.0, 160.0), 155.0, 10.0, 10.0))
    profile = layer_profile(MESHES, lumpy(), 0.2, 140)
    grown = growth(profile, print_time(profile, machine(layer_mm=0.2), extra_layers_mm=15.0), 10.0, 5.0)
    own, quick = (
        opening_of(solid.share, solid.grid, grown, powder(), chamber(), 25.0, model)
        for model in (MODEL, MODEL.quick(solid.grid.sides_mm))
    )
    assert abs(own - quick) < 36.0
    assert own != quick


def test_the_block_in_the_middle_holds_the_cake():
    """The solver tries it elsewhere and says what that wins; without a piece there nobody is blamed."""
    solid = solid_grid(MESHES, lumpy(), CakeGrid.over((160.0, 160.0), 155.0, 10.0, 10.0))
    profile = layer_profile(MESHES, lumpy(), 0.2, 140)
    t = print_time(profile, machine(layer_mm=0.2), extra_layers_mm=15.0)
    grown = growth(profile, t, 10.0, 5.0)
    args = {"material": powder(), "chamber_type": chamber(), "room_c": 25.0, "model": MODEL}
    opening = opening_of(solid.share, solid.grid, grown, powder(), chamber(), 25.0, MODEL)
    said = hottest_piece(solid, profile, t, (80.0, 80.0, 75.0), cover_powder_mm=5.0, opening_s=opening, **args)
    assert (said.code, said.where) == ("heat.holds-the-cake", "block")
    assert "sooner" in said.message
    corner = (155.0, 155.0, 140.0)
    assert hottest_piece(solid, profile, t, corner, cover_powder_mm=5.0, opening_s=opening, **args) is None
