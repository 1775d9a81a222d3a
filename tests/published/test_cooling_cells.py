"""The cell solver against closed forms: within 0.5 °C on coarse cells.

Incropera et al., Fundamentals of Heat and Mass Transfer, ch. 5; Carslaw & Jaeger, Conduction of Heat in
Solids, 2nd ed. 1959, ch. III, 2.4, 2.7 and (fin with feed) ch. IV. Values derived from the series with
an independent program. Powder k 0.10 W/(m K), 450 kg/m³, 2400 J/(kg K), 170 °C into a room of 25 °C.
"""

import numpy as np
import pytest

from cakewright.physics import series
from cakewright.physics.conduction import Block, Face, Faces
from cakewright.physics.matter import plain_matter

HOUR = 3600.0
MATTER = plain_matter((450 * 2400.0, 950 * 2400.0), (0.10, 0.20))
OPEN, SHUT = Face(10.0, 25.0), Face(0.0, 25.0)


def hot(cells, sides_m):
    block = Block(np.zeros(cells), tuple(s / n for s, n in zip(sides_m, cells, strict=True)), MATTER, 170.0)
    block.grow(cells[0], 170.0)
    return block


def centre(block):
    """Temperature in the middle from the parabola through the two cells beside it, each way."""
    t = block.temperature_c
    for _ in range(3):
        n = len(t)
        t = (9 * (t[n // 2 - 1] + t[n // 2]) - (t[n // 2 - 2] + t[n // 2 + 1])) / 16
    return float(t)


def test_cube_of_powder():
    """0.3 m cube in 7.5 mm cells: centre and mean after 6, 12, 24, 48 h."""
    block = hot((40, 40, 40), (0.3, 0.3, 0.3))
    found = []
    for hours in range(1, 49):
        for _ in range(4):
            block.step(900, Faces.around(OPEN, OPEN, OPEN))
        if hours in (6, 12, 24, 48):
            found.append((centre(block), block.temperature_c.mean()))
    np.testing.assert_allclose([c for c, _ in found], [159.588, 113.871, 54.141, 27.886], atol=0.3)
    np.testing.assert_allclose([m for _, m in found[:3]], [79.58, 54.051, 34.013], atol=0.3)


@pytest.mark.parametrize(
    ("sides", "hours"),
    [((0.165, 0.165, 0.30), 10.827), ((0.20, 0.20, 0.30), 14.577), ((0.34, 0.34, 0.60), 41.363)],
)
def test_hours_until_the_centre_is_at_fifty(sides, hours):
    """At the published time for 10 W/(m² K) the centre stands at 50 °C, in cells of about 8 mm."""
    cells = tuple(2 * round(s / 0.0161) for s in sides)
    block = hot(cells, sides)
    steps = int(np.ceil(hours * HOUR / 1200))
    for _ in range(steps):
        block.step(hours * HOUR / steps, Faces.around(OPEN, OPEN, OPEN))
    assert centre(block) == pytest.approx(50, abs=0.5)


def test_insulated_bottom():
    """0.2 x 0.2 x 0.3 m on an insulated floor after 12 h: bottom and top centre."""
    block = hot((76, 26, 26), (0.3, 0.2, 0.2))
    for _ in range(72):
        block.step(600, Faces.around(OPEN, SHUT, OPEN))
    line = block.temperature_c[:, 12:14, 12:14].mean(axis=(1, 2))
    half = 2 * 0.10 / block.cell_m[0]
    top = (half * line[-1] + 10 * 25) / (half + 10)
    assert line[0] == pytest.approx(70.004, abs=0.5)
    assert top == pytest.approx(28.971, abs=0.5)


@pytest.mark.parametrize(("film", "expected"), [(np.inf, [162.343, 107.767]), (10.0, [166.100, 119.441])])
def test_half_space(film, expected):
    """5 cm below a cooled face of a thick block after 1 and 6 h, 4 mm cells."""
    block = hot((2, 2, 150), (0.1, 0.1, 0.6))
    faces = Faces(Face(film, 25.0), SHUT, SHUT, SHUT, SHUT, SHUT)
    found = []
    for i in range(360):
        block.step(60, faces, implicit=1.0 if i < 2 else 0.5)
        if i + 1 in (60, 360):
            found.append(np.interp(0.05, (np.arange(150) + 0.5) * 0.004, block.temperature_c[0, 0]))
    np.testing.assert_allclose(found, expected, atol=0.5)


def test_growing_cake():
    """Slabs added at 12 mm/h with 3 W/(m² K) at the sides of a 0.3 m square: the steady profile below the surface.

    The published case averages over the area, so the block here is 10 mm wide (even across) with the
    film chosen for the same loss per volume.
    """
    h = 3.0 * 0.01 / 0.3
    side = Face(1 / (1 / h - 0.005 / 0.10), 25.0)
    faces = Faces.around(side, SHUT, Face(np.inf, 170.0))
    block = Block(np.zeros((150, 1, 1)), (0.006, 0.01, 0.01), MATTER, 170.0)
    for slab in range(150):
        block.grow(slab + 1, 170.0)
        for _ in range(2 if slab < 149 else 1):  # half way to the next slab the surface is where the block ends
            block.step(900, faces)
    below = 0.9 - (np.arange(150) + 0.5) * 0.006
    found = np.interp([0.1, 0.2, 0.3], below[::-1], block.temperature_c[::-1, 0, 0])
    expected = 25 + 145 * series.growing_cake(
        [0.1, 0.2, 0.3], speed_m_s=0.012 / HOUR, diffusivity_m2s=0.1 / 1.08e6, loss_per_s=3 * 4 / (1.08e6 * 0.3)
    )
    np.testing.assert_allclose(expected, [84.50, 49.42, 35.02], atol=5e-3)
    np.testing.assert_allclose(found, expected, atol=0.5)
