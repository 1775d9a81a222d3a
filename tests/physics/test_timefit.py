"""A machine learns its times from its logs, and says how well."""

import numpy as np
import pytest

from cakewright.errors import InputError
from cakewright.physics.buildtime import print_time
from cakewright.physics.timefit import JobTimes, LoggedBuild, fit_times, fitted_machine, tuned_machine
from cakewright.sources import physics as numbers
from tests.physics.worlds import machine, profile_of

TRUTH = (1.3, 1.15, 0.9, 1.25)


def varied_build(rng):
    """A build of 300 to 3000 layers, busy or sparse, smooth or fine-featured."""
    n = int(rng.integers(300, 3000))
    area = rng.uniform(500, 15_000) * (1 + 0.3 * np.sin(np.arange(n) / 90))
    return profile_of(area, area * rng.uniform(0.1, 1.5), np.full(n, rng.integers(3, 60)))


def small_build(rng):
    """A build of 60 to 160 layers: quick to compute."""
    n = int(rng.integers(60, 160))
    area = rng.uniform(500, 15_000) * (1 + 0.3 * np.sin(np.arange(n) / 30))
    return profile_of(area, area * rng.uniform(0.1, 1.5), np.full(n, rng.integers(3, 60)))


def logs(n, seed, noise=0.01, with_layers=False, truth=TRUTH, stopped=(), build=varied_build):
    rng, out = np.random.default_rng(seed), []
    real = tuned_machine(machine(), truth)
    for i in range(n):
        profile = build(rng)
        t = print_time(profile, real, extra_layers_mm=15.0)
        factor = np.exp(noise * rng.standard_normal())
        total = t.total_s * factor + (6 * 3600 if i in stopped else 0)
        layer_s = t.layer_s * np.exp(0.1 * rng.standard_normal(profile.layers)) if with_layers else None
        out.append(LoggedBuild(JobTimes(f"B{i}", None if with_layers else total, layer_s), profile, 15.0))
    return out


def test_without_logs_the_cell_file_stands():
    """No log: every factor is 1, with a wide interval, and the default spread."""
    fit = fit_times([], machine())
    assert [f.value for f in fit.factors] == [1, 1, 1, 1]
    assert all(f.low < 0.7 and f.high > 1.4 for f in fit.factors)
    assert fit.relative_sigma == pytest.approx(0.05)


def test_the_interval_holds_what_it_promises():
    """200 invented machines, each with 10 logs of small builds: nine in ten of the 90 % intervals hold the truth.

    Each machine's factors are drawn from what is assumed before any log (`physics.time_prior_*`), so that the promise
    can be counted: 85 to 95 % of 800 intervals, and none of the four factors far off.
    """
    assumed = np.array([numbers.TIME_PRIOR_FIXED.value] + [numbers.TIME_PRIOR_LAYER.value] * 3)
    inside = []
    for seed in range(200):
        truth = np.exp(assumed * np.random.default_rng(1000 + seed).standard_normal(4))
        fit = fit_times(logs(10, seed, noise=0.03, truth=truth, build=small_build), machine())
        inside.append([f.low <= true <= f.high for f, true in zip(fit.factors, truth, strict=True)])
    assert 0.85 <= np.mean(inside) <= 0.95
    assert np.mean(inside, axis=0).min() > 0.8


def test_more_logs_narrow_the_interval_and_the_spread():
    """What is learnt grows with the logs; the spread falls from the default to that of the machine."""
    few, many = fit_times(logs(4, 1), machine()), fit_times(logs(40, 1), machine())
    for term in ("recoat", "hatch", "outline"):
        a, b = few.factor(term), many.factor(term)
        assert b.high - b.low < a.high - a.low
    assert many.relative_sigma < few.relative_sigma < 0.05


def test_layer_logs_separate_recoat_from_scan():
    """Eight builds with layer times are enough to tell recoat, hatch and outline apart."""
    fit = fit_times(logs(8, 2, with_layers=True), machine())
    for term, true in zip(("recoat", "hatch", "outline"), TRUTH[1:], strict=True):
        assert fit.factor(term).value == pytest.approx(true, rel=0.05)


def test_the_fitted_machine_predicts_a_new_build():
    """After 25 logs a new build is predicted within 2 %, where the cell file was off by more than 7 %."""
    real, fit = tuned_machine(machine(), TRUTH), fit_times(logs(25, 3), machine())
    new = varied_build(np.random.default_rng(99))
    actual = print_time(new, real, extra_layers_mm=15).total_s
    fitted = print_time(new, fitted_machine(machine(), fit), extra_layers_mm=15).total_s
    assert abs(fitted / actual - 1) < 0.02
    assert abs(print_time(new, machine(), extra_layers_mm=15).total_s / actual - 1) > 0.07


def test_a_build_that_stood_still_is_named_and_moves_little():
    """Two builds with a six-hour stop are called unusual; the rest of the fit hardly notices."""
    clean, stopped = fit_times(logs(25, 4), machine()), fit_times(logs(25, 4, stopped=(3, 11)), machine())
    assert set(stopped.unusual) == {"B3", "B11"}
    assert clean.unusual == ()
    for a, b in zip(clean.factors[1:], stopped.factors[1:], strict=True):
        assert b.value == pytest.approx(a.value, rel=0.06)


def test_minimum_layer_time_hides_the_scan():
    """Where every layer waits anyway, scan factors stay at the cell file's with a wide interval."""
    slow = machine(minimum_layer_s=200.0)
    profile = varied_build(np.random.default_rng(1))
    total = print_time(profile, slow, extra_layers_mm=15).total_s
    fit = fit_times([LoggedBuild(JobTimes("B", total), profile, 15.0)] * 5, slow)
    assert fit.factor("hatch").value == pytest.approx(1, abs=0.01)
    assert fit.factor("hatch").high > 1.4


def test_impossible_logs_are_refused():
    """Nothing said, no time at all, a layer too many."""
    with pytest.raises(InputError, match="neither"):
        JobTimes("B")
    with pytest.raises(InputError, match="after the start"):
        JobTimes("B", 0.0)
    with pytest.raises(InputError, match="layer of no"):
        JobTimes("B", layer_s=np.array([10.0, -1.0]))
    with pytest.raises(InputError, match="B7: the log has 2 layers, the build 3"):
        fit_times([LoggedBuild(JobTimes("B7", layer_s=np.array([10.0, 11.0])), profile_of([1, 2, 3]), 0.0)], machine())
