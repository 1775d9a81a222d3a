"""One characteristic in four charts: each finds what it is for."""

from datetime import timedelta

import pytest

from cakewright.app.charts import draw_kind
from cakewright.app.inspect_line import Reading
from cakewright.documents.control_chart import control_chart_svg
from cakewright.errors import InputError
from tests.app.floor_worlds import NOW

STEADY = [10.01, 9.99, 10.02, 9.98, 10.00, 10.01, 9.99, 10.02, 9.98, 10.0, 9.99, 10.01]
BUILDS = [f"1-B{n // 2}" for n in range(12)]


def readings(values):
    return [Reading(f"L01-{n:02d}", "width", v, 9.9, 10.1, "c3", "Jon", NOW + timedelta(hours=n))
            for n, v in enumerate(values)]  # fmt: skip


@pytest.mark.parametrize("kind", ["individuals", "x-bar", "ewma", "cusum"])
def test_a_steady_process_is_left_alone(kind):
    """Nothing unusual on any chart, and each can be drawn."""
    for drawn in draw_kind(kind, readings(STEADY), BUILDS):
        assert drawn.signals == ()
        assert control_chart_svg(drawn.chart, drawn.signals, title=kind).startswith("<svg")


def test_a_small_lasting_shift_is_seen_by_the_sum_before_single_values():
    """One sigma off for twelve values: no single value is beyond a limit, the sum is."""
    shifted = [*STEADY, *(v + 0.03 for v in STEADY)]
    builds = [*BUILDS, *(f"2-{b}" for b in BUILDS)]
    up, down = draw_kind("cusum", readings(shifted), builds)
    assert up.signals and not down.signals
    assert not draw_kind("individuals", readings(shifted), builds)[0].chart.beyond


def test_one_build_unlike_the_others_is_seen_by_the_means():
    """Two values of one build are 0.1 mm larger: its mean is beyond the limit, named by its build."""
    values = [v + (0.1 if BUILDS[n] == "1-B3" else 0.0) for n, v in enumerate(STEADY)]
    means, _ranges = draw_kind("x-bar", readings(values), BUILDS)
    assert "1-B3" in {means.labels[s.index] for s in means.signals}


def test_too_few_values_and_strange_charts_are_refused_with_what_is_needed():
    """Seven values, alike values, builds with one value each, a chart there is not."""
    with pytest.raises(InputError, match="7 values"):
        draw_kind("individuals", readings(STEADY[:7]), BUILDS[:7])
    with pytest.raises(InputError, match="unlike"):
        draw_kind("individuals", readings([10.0] * 9), BUILDS[:9])
    with pytest.raises(InputError, match="means need 3 builds"):
        draw_kind("x-bar", readings(STEADY), [str(n) for n in range(12)])
    with pytest.raises(InputError, match="no chart"):
        draw_kind("pie", readings(STEADY), BUILDS)
