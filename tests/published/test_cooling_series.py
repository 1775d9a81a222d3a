"""Conduction series against published values.

Incropera, DeWitt, Bergman, Lavine: Fundamentals of Heat and Mass Transfer, table 5.1 (eigenvalues and
coefficients, 4 digits) and the slab and box solutions of chapter 5; Carslaw & Jaeger, Conduction of
Heat in Solids, 2nd ed. 1959, ch. III, section 1.15 (product solution) and 2.4, 2.7 (half-space). More
digits than the tables print, and the box values, were derived from the same series with an
independent program; the 0.3 m cube also from a finite-volume run on 40³ cells.
Powder of the box cases: k 0.10 W/(m K), 450 kg/m³, 2400 J/(kg K), from 170 °C into a room of 25 °C.
"""

import numpy as np
import pytest

from cakewright.physics import series

POWDER = {"conductivity_w_mk": 0.10, "diffusivity_m2s": 0.10 / (450 * 2400)}
HOUR = 3600.0


def celsius(theta):
    return 25 + 145 * np.asarray(theta)


@pytest.mark.parametrize(
    ("biot", "root", "coefficient"),
    [(0.01, 0.099834, 1.001661), (0.1, 0.311053, 1.016094), (0.5, 0.653271, 1.070128), (1, 0.860334, 1.119132),
     (2, 1.076874, 1.178456), (5, 1.313838, 1.240249), (10, 1.428870, 1.261963), (100, 1.555245, 1.273088),
     (np.inf, 1.570796, 1.273240)],
)  # fmt: skip
def test_table_5_1_slab(biot, root, coefficient):
    """First root and coefficient of the plane wall."""
    z = series.slab_roots(biot, 1)
    assert z[0] == pytest.approx(root, abs=1e-6)
    assert series.slab_coefficients(z)[0] == pytest.approx(coefficient, abs=1e-6)


def test_six_roots_at_biot_one():
    """Carslaw & Jaeger, appendix IV, table I."""
    z = series.slab_roots(1.0, 6)
    np.testing.assert_allclose(z, [0.86033, 3.42562, 6.43730, 9.52933, 12.64529, 15.77128], atol=5e-6)


def test_table_5_1_cylinder():
    """First root and coefficient of the infinite cylinder at Bi = 1."""
    assert series.cylinder_first_term(1.0) == pytest.approx((1.255784, 1.207092), abs=1e-6)


@pytest.mark.parametrize(
    ("biot", "fourier", "theta"),
    [(np.inf, [0.1, 0.2, 0.5, 1], [0.949305, 0.772312, 0.370777, 0.107977]),
     (1, [0.2, 0.5, 1, 2], [0.950642, 0.772526, 0.533859, 0.254668])],
)  # fmt: skip
def test_slab_centre(biot, fourier, theta):
    """Centre of the plane wall over time."""
    np.testing.assert_allclose(series.slab(biot, fourier), theta, atol=1e-6)


def test_slab_mean():
    """Mean of the plane wall over time."""
    np.testing.assert_allclose(series.slab_mean(1.0, [0.5, 1]), [0.681105, 0.470397], atol=1e-6)
    assert series.slab_mean(np.inf, 0.5) == pytest.approx(0.236050, abs=1e-6)


def test_cube_of_powder():
    """A 0.3 m cube, 10 W/(m² K) on all faces: centre, mean, face and corner; the mean is no opening criterion."""
    sides, h = (0.3, 0.3, 0.3), {"surface_w_m2k": 10.0, **POWDER}
    t = np.array([6, 12, 24, 48]) * HOUR
    np.testing.assert_allclose(celsius(series.box(sides, t, **h)), [159.588, 113.871, 54.141, 27.886], atol=1e-3)
    np.testing.assert_allclose(celsius(series.box_mean(sides, t[:3], **h)), [79.58, 54.051, 34.013], atol=5e-3)
    assert celsius(series.box(sides, t[1], **h, at=(1, 0, 0))) == pytest.approx(34.186, abs=1e-3)
    assert celsius(series.box(sides, t[1], **h, at=(1, 1, 1))) == pytest.approx(25.098, abs=1e-3)


@pytest.mark.parametrize(
    ("sides", "hours"),
    [
        ((0.165, 0.165, 0.30), [[6.579, 10.908, 12.754], [5.661, 9.285, 10.827], [4.637, 7.580, 8.831]]),
        ((0.20, 0.20, 0.30), [[8.849, 14.402, 16.779], [7.782, 12.544, 14.577], [6.597, 10.596, 12.301]]),
        ((0.30, 0.30, 0.30), [[15.374, 24.536, 28.488], [13.940, 22.087, 25.596], [12.374, 19.540, 22.626]]),
        ((0.34, 0.34, 0.60), [[23.821, 38.958, 45.399], [21.793, 35.524, 41.363], [19.627, 31.990, 37.246]]),
    ],
)
def test_hours_until_the_centre_is_cold(sides, hours):
    """Hours to 100, 60, 50 °C in the centre for 5, 10 W/(m² K) and a fixed skin."""
    for h, row in zip((5.0, 10.0, np.inf), hours, strict=True):
        found = [series.box_centre_seconds(sides, (c - 25) / 145, surface_w_m2k=h, **POWDER) for c in (100, 60, 50)]
        np.testing.assert_allclose(np.array(found) / HOUR, row, atol=1e-3)


def test_doubling_at_the_same_biot_number_takes_four_times_as_long():
    """Dimensional analysis: every side twice, half the surface coefficient."""
    one = series.box_centre_seconds((0.1, 0.2, 0.3), 0.3, surface_w_m2k=8.0, **POWDER)
    two = series.box_centre_seconds((0.2, 0.4, 0.6), 0.3, surface_w_m2k=4.0, **POWDER)
    assert two / one == pytest.approx(4, rel=1e-9)


def test_insulated_bottom():
    """0.2 x 0.2 x 0.3 m on an insulated floor, 10 W/(m² K) elsewhere, after 12 h: half of a box of double height."""
    places = [
        celsius(series.box((0.2, 0.2, 0.6), 12 * HOUR, surface_w_m2k=10.0, **POWDER, at=(0, 0, z))) for z in (0, 1)
    ]
    np.testing.assert_allclose(places, [70.004, 28.971], atol=1e-3)


def test_half_space():
    """5 cm below a cooled skin after 1 and 6 h."""
    t = np.array([1, 6]) * HOUR
    np.testing.assert_allclose(celsius(series.half_space(0.05, t, **POWDER)), [162.343, 107.767], atol=1e-3)
    found = celsius(series.half_space(0.05, t, **POWDER, surface_w_m2k=10.0))
    np.testing.assert_allclose(found, [166.100, 119.441], atol=1e-3)


def test_growing_cake():
    """A 0.3 m square cake fed down at 12 mm/h with 3 W/(m² K) at its sides is far from hot all through."""
    m = 3.0 * (4 * 0.3) / (450 * 2400 * 0.3**2)
    numbers = {"speed_m_s": 0.012 / HOUR, "diffusivity_m2s": POWDER["diffusivity_m2s"], "loss_per_s": m}
    np.testing.assert_allclose(
        celsius(series.growing_cake([0.1, 0.2, 0.3], **numbers)), [84.50, 49.42, 35.02], atol=5e-3
    )
    assert series.growing_cake(0.112268, **numbers) == pytest.approx(np.exp(-1), abs=1e-5)
