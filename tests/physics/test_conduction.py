"""The cell solver: order of convergence, an independent exact twin, and not a joule lost."""

import numpy as np
import pytest
from scipy.linalg import expm

from cakewright.errors import InputError
from cakewright.physics import series
from cakewright.physics.conduction import Block, Face, Faces
from cakewright.physics.matter import matter_of, plain_matter
from tests.physics.worlds import powder

HOUR = 3600.0
MATTER = plain_matter((450 * 2400.0, 950 * 2400.0), (0.10, 0.20))
OPEN = Face(10.0, 25.0)


def cube(n, start=170.0, side=0.3):
    block = Block(np.zeros((n, n, n)), (side / n,) * 3, MATTER, start)
    block.grow(n, start)
    return block


def lumpy():
    """A small uneven block: 6 x 7 x 8 cells of 8 x 9 x 10 mm, a third of it plastic, every face different."""
    solid = np.random.default_rng(5).random((6, 7, 8)) * (np.arange(8) < 5)
    faces = Faces(Face(5.0, 25.0), Face(20.0, 40.0), Face(0.0, 0.0), Face(10.0, 140.0), Face(np.inf, 90.0), Face(3, 25))
    return solid, (0.008, 0.009, 0.010), faces


def exact_twin(solid, cell, faces, start, seconds):
    """The same cells written out one by one as a matrix, solved with the matrix exponential (no time steps)."""
    shape, k = solid.shape, 0.10 + 0.10 * solid
    c = 450 * 2400.0 + solid * (500 * 2400.0)
    number = np.arange(solid.size).reshape(shape)
    a, b = np.zeros((solid.size, solid.size)), np.zeros(solid.size)
    for at in np.ndindex(shape):
        me = number[at]
        for axis in range(3):
            for way, face in zip((-1, 1), faces.along(axis), strict=True):
                there = list(at)
                there[axis] += way
                d = cell[axis]
                if 0 <= there[axis] < shape[axis]:
                    other = tuple(there)
                    g = 1 / (d / 2 / k[at] + d / 2 / k[other]) / d / c[at]
                    a[me, number[other]] += g
                    a[me, me] -= g
                elif face.coefficient_w_m2k > 0:
                    g = 1 / (d / 2 / k[at] + 1 / face.coefficient_w_m2k) / d / c[at]
                    a[me, me] -= g
                    b[me] += g * face.outside_c
    steady = np.linalg.solve(a, -b)
    return (steady + expm(a * seconds) @ (start - steady)).reshape(shape)


def test_finer_cells_converge_with_second_order():
    """Against the closed form of the 0.3 m cube at the cell centres after 12 h: halving cells quarters the error."""
    errors = []
    for n in (8, 16, 32):
        block = cube(n)
        for _ in range(144):
            block.step(300, Faces.around(OPEN, OPEN, OPEN))
        at = (np.arange(n) + 0.5) * 2 / n - 1
        one = np.array([series.slab(10 * 0.15 / 0.1, 0.1 / 1.08e6 * 12 * HOUR / 0.15**2, x) for x in np.abs(at)])
        exact = 25 + 145 * one[:, None, None] * one[None, :, None] * one[None, None, :]
        errors.append(np.sqrt(np.mean((block.temperature_c - exact) ** 2)))
    order = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (order > 1.8).all(), (errors, order)
    assert errors[-1] < 0.2


def test_shorter_steps_converge_with_second_order():
    """On an uneven block with uneven faces, against the exact twin: halving steps quarters the error."""
    solid, cell, faces = lumpy()
    exact = exact_twin(solid, cell, faces, 170.0, 4 * HOUR)
    errors = []
    for steps in (8, 16, 32, 64):
        block = Block(solid, cell, MATTER, 170.0)
        block.grow(6, 170.0)
        for _ in range(steps):
            block.step(4 * HOUR / steps, faces)
        errors.append(np.abs(block.temperature_c - exact).max())
    order = np.log2(np.array(errors[:-1]) / errors[1:])
    assert (order[-2:] > 1.7).all(), (errors, order)
    assert errors[-1] < 0.05


def test_a_crude_step_stays_calm():
    """A single implicit step of ten days stays between the coldest and the hottest thing around."""
    solid, cell, faces = lumpy()
    block = Block(solid, cell, MATTER, 170.0)
    block.grow(6, 170.0)
    block.step(864_000, faces, implicit=1.0)
    assert block.temperature_c.min() >= 25 - 1e-9
    assert block.temperature_c.max() <= 170 + 1e-9


@pytest.mark.parametrize(("is_variable", "latent"), [(False, 0.0), (True, 0.0), (False, 55_000.0), (True, 55_000.0)])
def test_heat_inside_changes_by_what_passes_the_faces(is_variable, latent):
    """Energy closes to 0.1 %, and shorter steps close it better; also with changing properties and crystallisation."""
    solid, cell, faces = lumpy()
    matter = matter_of(powder(), is_variable=is_variable, crystallisation_j_kg=latent)
    errors = []
    for dt in (60, 30):
        block = Block(solid, cell, matter, 170.0)
        block.grow(3, 170.0)
        for i in range(14_400 // dt):
            if i == 3600 // dt:
                block.grow(6, 170.0)
            block.step(dt, faces, 1.0 if i < 2 else 0.5)
        moved = block.heat_j - block.start_j
        errors.append(abs(moved - block.energy_in_j) / abs(moved))
    assert errors[0] < 1e-3
    assert errors[1] < errors[0] / 1.5


@pytest.mark.parametrize(("is_variable", "latent"), [(False, 0.0), (True, 55_000.0)])
def test_the_books_of_heat_agree_with_the_temperatures(is_variable, latent):
    """Heat counted again from temperatures alone, cell by cell, is the heat carried along."""
    solid, cell, faces = lumpy()
    block = Block(solid, cell, matter_of(powder(), is_variable=is_variable, crystallisation_j_kg=latent), 170.0)
    block.grow(6, 170.0)
    for _ in range(20):
        block.step(600, faces)
    counted = sum(float(block.matter.heat(solid[at], block.temperature_c[at])) for at in np.ndindex(solid.shape))
    assert counted * block.cell_volume_m3 == pytest.approx(block.heat_j, rel=1e-7)


def test_insulated_all_round_nothing_changes_but_the_spread():
    """Without a way out the heat stays, and hot and cold meet at the mixing temperature."""
    block = cube(6, side=0.03)
    block.grow(6, 170.0)
    block.temperature_c[:3] = 20.0
    block._heat[:3] = MATTER.heat(np.zeros((3, 6, 6)), 20.0)
    shut = Face(0.0, -100.0)
    for _ in range(200):
        block.step(300, Faces.around(shut, shut, shut))
    np.testing.assert_allclose(block.temperature_c, 95, atol=0.01)


def test_radiation_is_the_law_of_stefan_and_boltzmann():
    """A thin plate at 170 °C facing 25 °C with emissivity 0.9 first loses 0.9 sigma (T⁴ - T0⁴)."""
    block = Block(np.zeros((1, 1, 1)), (1e-5, 0.1, 0.1), MATTER, 170.0)
    block.grow(1, 170.0)
    shut = Face(0.0, 25.0)
    block.step(1e-4, Faces.around(shut, shut, Face(0.0, 25.0, 0.9)))
    watts = -block.energy_in_j / 1e-4 / 0.01
    assert watts == pytest.approx(0.9 * 5.670374419e-8 * (443.15**4 - 298.15**4), rel=2e-3)


def test_crystallisation_keeps_a_part_warm():
    """With its crystallisation heat a solid block is later at 100 °C; the extra is the heat given, about 55 J/g."""
    hot = matter_of(powder(), crystallisation_j_kg=55_000.0)
    plain = matter_of(powder())
    extra = (hot.heat(1.0, 170) - hot.heat(1.0, 60)) - (plain.heat(1.0, 170) - plain.heat(1.0, 60))
    assert extra == pytest.approx(950 * 55_000, rel=1e-3)
    temperatures = []
    for matter in (plain, hot):
        block = Block(np.ones((8, 8, 8)), (0.005,) * 3, matter, 170.0)
        block.grow(8, 170.0)
        for _ in range(60):
            block.step(60, Faces.around(OPEN, OPEN, OPEN))
        temperatures.append(block.temperature_c.max())
    assert temperatures[1] > temperatures[0] + 5


def test_impossible_blocks_are_refused():
    """Shares beyond 1 or cells without size."""
    with pytest.raises(InputError):
        Block(np.full((2, 2, 2), 1.5), (0.01,) * 3, MATTER, 20.0)
    with pytest.raises(InputError):
        Block(np.zeros((2, 2, 2)), (0.01, 0.0, 0.01), MATTER, 20.0)


def test_a_whole_number_of_degrees_cools_as_well():
    """A bed of 170 instead of 170.0 once made a cake that never cooled: temperatures were whole numbers."""
    block = Block(np.zeros((3, 3, 3)), (0.01,) * 3, plain_matter((1.08e6, 2.28e6), (0.1, 0.2)), 170)
    block.grow(3, 170)
    face = Face(10.0, 25.0)
    block.step(600.0, Faces.around(face, face, face))
    assert block.temperature_c.max() < 170
