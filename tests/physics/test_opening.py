"""The whole cake, from first layer to opening: late enough, in order, and telling what early opening means."""

import numpy as np
import pytest

from cakewright.errors import CellError, GeometryError, InputError, NotConvergedError
from cakewright.physics.buildtime import print_time
from cakewright.physics.cake import Growth, HeatModel, growth
from cakewright.physics.cooling import cool
from cakewright.physics.grid import CakeGrid
from cakewright.physics.layers import layer_profile
from cakewright.physics.opening import cool_build, crossing, early_opening, opened_at, warp_findings
from cakewright.sources import physics as numbers
from tests.conftest import box_mesh
from tests.physics.worlds import chamber, machine, placed, powder, profile_of

MESHES = {"cube": box_mesh(20, 20, 20), "plate": box_mesh(60, 60, 3)}
FINE = {"grid_mm": 10.0, "print_step_s": 75.0, "cool_step_s": 300.0}  # a small cake loses heat quickly: short steps
COARSE = HeatModel(**FINE)


def two_pieces():
    """One cube in the middle of a 120 x 120 x 115 mm cake and one beside the wall on the floor."""
    return [placed("middle", (50, 50, 40), size_z=20), placed("wall", (0, 0, 0), size_z=20)]


def heated(pieces=None, *, model=COARSE, height=100.0, base=(120.0, 120.0), material=None, room=25.0, **more):
    pieces = two_pieces() if pieces is None else pieces
    m = machine(layer_mm=0.2, minimum_layer_s=20.0)
    profile = layer_profile(MESHES, pieces, 0.2, height)
    return cool_build(
        MESHES, pieces, profile, print_time(profile, m, extra_layers_mm=15.0), base_mm=base, base_powder_mm=10.0,
        cover_powder_mm=5.0, material=material or powder(), chamber_type=chamber(), room_c=room, model=model, **more,
    )  # fmt: skip


@pytest.fixture(scope="module")
def heat():
    """The two pieces, likely powder."""
    return heated(watch_mm=[(60.0, 60.0, 50.0)])


def test_the_cake_is_at_target_when_it_says_so(heat):
    """At the likely opening time its hottest place is at 50 °C and every piece is below."""
    c = heat.cooling
    assert np.interp(c.opening_s[1], c.curve_s, c.core_c) == pytest.approx(50, abs=0.2)
    assert c.opening_s[0] < c.opening_s[1] < c.opening_s[2]
    assert max(celsius for _, celsius in opened_at(heat, c.opening_s[1])) <= 50.2


def test_energy_closes(heat):
    """Heat through the faces is the heat that is missing, to 0.1 %."""
    assert abs(heat.heat_error) < 1e-3


@pytest.mark.parametrize("side", [60.0, 120.0, 240.0, numbers.QUICK_SIDE.value])
def test_energy_closes_whatever_the_size(side):
    """Cells and steps follow the cake: heat is kept to 0.1 % from a fist to a full chamber, in all three cases."""
    at = (side / 2 - 10, side / 2 - 10, side / 2 - 10)
    found = heated([placed("one", at, size_z=20)], model=None, height=side, base=(side, side))
    assert abs(found.heat_error) < 1e-3


def test_work_grows_with_the_cake_not_beyond():
    """A full 340 x 340 x 600 mm cake is a matter of some 1500 steps of 132 000 cells."""
    sizes = HeatModel().sized((600.0, 340.0, 340.0))
    cells = CakeGrid.over((340.0, 340.0), 600.0, 10.0, sizes.cell_mm).cells
    assert np.prod(cells) <= 135_000
    assert 5000 * 32.0 / sizes.print_step_s < 1100
    flat = HeatModel().sized((40.0, 240.0, 190.0)).cell_mm
    assert flat == pytest.approx((2.0, 8.0, 190 / 24))  # fine where it is thin, not everywhere


def test_the_middle_is_last(heat):
    """The cube beside the wall may be lifted long before the one in the middle; the hottest place is inside."""
    middle, wall = heat.pieces
    assert wall.opening_s[1] < 0.8 * middle.opening_s[1]
    assert middle.opening_s[1] <= heat.cooling.opening_s[1] + 1
    assert np.abs(np.array(heat.cooling.hottest_mm) - [60, 60, 47]).max() < 20
    assert wall.front_c_mm > middle.front_c_mm


def test_the_simple_answer_is_later_than_the_real_one(heat):
    """A block hot all through errs late: lower layers cool while upper ones are printed."""
    pieces, m = two_pieces(), machine(layer_mm=0.2, minimum_layer_s=20.0)
    profile = layer_profile(MESHES, pieces, 0.2, 100)
    simple = cool(
        profile, print_time(profile, m), base_mm=(120.0, 120.0), base_powder_mm=10.0, cover_powder_mm=5.0,
        material=powder(), chamber_type=chamber(), room_c=25.0,
    )  # fmt: skip
    out_at_once = heated(model=HeatModel(grid_mm=10.0, in_machine_s=0.0))
    assert out_at_once.cooling.opening_s[1] < simple.opening_s[1]


def test_opening_early_names_the_hot_pieces(heat):
    """One hour after the end both pieces are too hot, at the opening time none."""
    soon = early_opening(heat, 3600)
    assert {f.where for f in soon} == {"middle", "wall"}
    assert all(f.code == "heat.opened-too-hot" for f in soon)
    assert early_opening(heat, heat.cooling.opening_s[1] + 60) == []
    hottest = opened_at(heat, 3600)
    assert hottest[0][0] == "middle"
    assert hottest[0][1] > hottest[1][1]


def test_a_watched_place_is_followed(heat):
    """The history kept at a place is that of the field there: hot when printed, the core later."""
    watched = np.interp(heat.cooling.opening_s[1], heat.time_s, heat.watch_c[:, 0])
    assert 40 < watched <= 50.5
    assert heat.section_c.shape == (len(heat.time_s), *heat.solid.share.shape[::2])


def test_staying_in_the_machine_takes_longer(heat):
    """A chamber left in the warm machine opens later; the skin may meet air after some hours."""
    stays = heated(model=HeatModel(**FINE, in_machine_s=float("inf")))
    assert stays.cooling.opening_s[1] > heat.cooling.opening_s[1]
    assert 0 < heat.may_leave_s < stays.cooling.opening_s[1]
    assert stays.may_leave_s == pytest.approx(heat.may_leave_s)


def test_a_faster_chamber_opens_earlier(heat):
    """The calibrated speed works in the right direction and by about its amount."""
    fast = heated(model=HeatModel(grid_mm=10.0, speed=1.25, in_machine_s=0.0))
    slow = heated(model=HeatModel(grid_mm=10.0, speed=1.0, in_machine_s=0.0))
    assert slow.cooling.opening_s[1] / fast.cooling.opening_s[1] == pytest.approx(1.25, rel=0.1)


def test_variable_properties_and_crystallisation_are_options():
    """Both change the answer by some per cent, not by half, and crystallisation only makes it later."""
    plain = heated().cooling.opening_s[1]
    latent = heated(model=HeatModel(**FINE, crystallisation_j_kg=55_000.0)).cooling.opening_s[1]
    variable = heated(model=HeatModel(**FINE, is_variable=True))
    assert plain < latent < 1.1 * plain
    assert 0.8 * plain < variable.cooling.opening_s[1] < 1.25 * plain
    assert abs(variable.heat_error) < 2e-3


def test_finer_cells_and_steps_change_little(heat):
    """8 mm cells and shorter steps move the opening by less than 2 %."""
    fine = heated(model=HeatModel(grid_mm=6.0, print_step_s=150, cool_step_s=300))
    assert fine.cooling.opening_s[1] == pytest.approx(heat.cooling.opening_s[1], rel=0.02)


def test_a_plate_by_the_wall_is_flagged_for_warp():
    """Strong cooling through the wall gives a steep front; in the middle there is none."""
    cold = chamber(surface_coefficient_w_m2k=60.0)
    pieces = [placed("edge", (0, 0, 0), part="plate", size_z=3), placed("core", (30, 30, 50), part="plate", size_z=3)]
    m, profile = machine(layer_mm=0.2), layer_profile(MESHES, pieces, 0.2, 100)
    found = cool_build(
        MESHES, pieces, profile, print_time(profile, m), base_mm=(120.0, 120.0), base_powder_mm=10.0,
        cover_powder_mm=5.0, material=powder(), chamber_type=cold, room_c=25.0, model=HeatModel(side_c=60, grid_mm=10),
    )  # fmt: skip
    flagged = [f.where for f in warp_findings(found) if f.code == "heat.steep-gradient"]
    assert flagged == ["edge"]


def test_growth_counts_every_second():
    """Base powder lies there at once, part layers follow their own times, cover and end at the end."""
    p = profile_of([1000, 2000, 0], layer_mm=1.0)
    t = print_time(p, machine(layer_mm=1.0), extra_layers_mm=15.0)
    g = growth(p, t, 10.0, 5.0)
    assert isinstance(g, Growth)
    np.testing.assert_allclose(g.reached([0, 10, 11, 12, 13, 18]), [0, 0, 11, 23, 33, 83])
    assert g.end_s == pytest.approx(83 + 20 * 60)


def test_crossing_is_exponential_between_points():
    """Halfway in a fall from 100 to 25 above the room of 0 is 50."""
    assert crossing(np.array([0.0, 2.0]), np.array([100.0, 25.0]), 50.0, 0.0) == pytest.approx(1.0)
    assert crossing(np.array([0.0, 2.0]), np.array([40.0, 25.0]), 50.0, 0.0) == 0.0


def test_bad_input_is_refused():
    """A warm room, a piece outside the floor, layer times of another build, a chamber that lets nothing out."""
    with pytest.raises(CellError):
        heated(room=60.0)
    with pytest.raises(GeometryError, match="wall"):
        heated([placed("wall", (110, 0, 0), size_z=20)])
    with pytest.raises(InputError, match="layer times"):
        growth(profile_of([1, 2]), print_time(profile_of([1]), machine()), 1.0, 1.0)
    with pytest.raises(NotConvergedError, match="days"):
        heated(model=HeatModel(grid_mm=30.0, speed=1e-3, cool_step_s=86_400.0))
