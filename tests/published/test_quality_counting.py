"""Counting by weight: error formula n cv sqrt(1/n + 1/n_ref), figures worked out from it."""

import pytest

from cakewright.quality.identify import count_sigma


def test_sliders_cannot_be_counted_at_once_but_in_lots():
    """240 sliders, spread 1 %, reference of 20: 0.56 piece; sub-lots of 50: 0.13 piece."""
    assert count_sigma(240, 20, 0.01) == pytest.approx(0.56, abs=0.005)
    assert count_sigma(50, 20, 0.01) == pytest.approx(0.13, abs=0.005)
