"""Regression against NIST StRD, shrink calibration and ISO 286 grades against worked figures.

NIST/ITL Statistical Reference Datasets (linear least squares): Norris, Pontius, NoInt1, NoInt2. ISO
286-1:1988 for the unit i and its multiples (IT14 figures read, other rounded table figures from memory).
Scale and offset: worked by hand from m = s n + 2 d.
"""

import csv

import pytest

from cakewright.quality.calibrate import fit_axis
from cakewright.quality.fit import fit_powers
from cakewright.quality.grades import grade_tolerance_um, rate_deviation


@pytest.fixture
def strd(shared):
    """x and y of a reference data set."""

    def read(name: str) -> tuple[list[float], list[float]]:
        with (shared / "checks" / "data" / "strd" / f"{name}.csv").open(encoding="utf-8-sig") as file:
            table = list(csv.DictReader(file))
        return [float(r["x"]) for r in table], [float(r["y"]) for r in table]

    return read


def test_norris(strd):
    """A line through 36 points, certified to 15 digits."""
    fit = fit_powers(*strd("norris"), (0, 1))
    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-10)
    assert fit.errors == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-10)
    assert fit.residual_s == pytest.approx(0.884796396144373, rel=1e-10)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=1e-12)


def test_pontius(strd):
    """A parabola through loads up to three million."""
    fit = fit_powers(*strd("pontius"), (0, 1, 2))
    certified = [0.673565789473684e-03, 0.732059160401003e-06, -0.316081871345029e-14]
    assert fit.coefficients == pytest.approx(certified, rel=1e-9)
    assert fit.errors == pytest.approx([0.107938612033077e-03, 0.157817399981659e-09, 0.486652849992036e-16], rel=1e-9)
    assert fit.residual_s == pytest.approx(0.205177424076185e-03, rel=1e-9)


def test_through_zero(strd):
    """Scale without offset."""
    one, two = fit_powers(*strd("noint1"), (1,)), fit_powers(*strd("noint2"), (1,))
    assert (one.coefficients[0], one.residual_s) == pytest.approx((2.07438016528926, 3.56753034006338), rel=1e-12)
    assert (two.coefficients[0], two.residual_s) == pytest.approx((0.727272727272727, 0.369274472937998), rel=1e-12)


def test_scale_and_offset():
    """Ladder 10 .. 150 mm: s 0.968, 0.075 mm per face; a scale from the short step alone spoils the long part."""
    axis = fit_axis([10, 50, 100, 150], [9.83, 48.55, 96.95, 145.35])
    assert (axis.scale, axis.offset_mm, axis.factor) == pytest.approx((0.968, 0.15, 1.033058), abs=1e-6)
    assert axis.drawn(10) == pytest.approx(10.175620, abs=1e-6)
    assert axis.made(10, is_hole=True) == pytest.approx(9.53)
    assert axis.drawn(10, is_hole=True) == pytest.approx(10.485537, abs=1e-6)
    short = 10 / 9.83
    assert short == pytest.approx(1.017294, abs=1e-6)
    assert axis.made(150 * short) == pytest.approx(147.861, abs=5e-4)


@pytest.mark.parametrize(
    ("size", "grade", "um", "printed"),
    [(45, 10, 99.9, 100), (45, 12, 249.8, 250), (45, 14, 624.5, 620), (100, 14, 869, 870), (8, 14, 359.2, 360),
     (150, 12, 403.5, 400)],
)  # fmt: skip
def test_iso_286(size, grade, um, printed):
    """Grades from the formula, before and after the standard's rounding."""
    assert grade_tolerance_um(grade, size) == pytest.approx(um, abs=0.06 if um < 700 else 0.6)
    assert grade_tolerance_um(grade, size) == pytest.approx(printed, rel=0.01)


def test_rating_of_a_deviation():
    """45.00 measured 45.21 and 100.00 measured 99.70 both rate as IT12."""
    assert rate_deviation(45, 45.21) == (pytest.approx(134.5, abs=0.05), 12)
    assert rate_deviation(100, 99.70) == (pytest.approx(138.1, abs=0.05), 12)
