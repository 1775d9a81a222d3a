"""Which grey part is this, and how many are there."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.errors import InputError
from cakewright.quality.identify import (
    Candidate,
    count_by_weight,
    count_sigma,
    identify,
    most_on_scale,
    trapped_powder_g,
)

KNOB28 = Candidate("knob 28", 9.0, (28.0, 28.0, 15.0))
KNOB30 = Candidate("knob 30", 10.3, (30.0, 30.0, 15.0))
KNOB32 = Candidate("knob 32", 11.8, (32.0, 32.0, 15.0))
LEFT = Candidate("hinge left", 22.0, (60.0, 20.0, 12.0))
RIGHT = Candidate("hinge right", 22.0, (60.0, 20.0, 12.0), mirror_of="hinge left")
TABLE = [KNOB28, KNOB30, KNOB32, LEFT, RIGHT]


def test_knobs_are_told_by_mass_and_one_size():
    """10.2 g and 30.1 mm is the knob of 30, with near certainty."""
    best = identify(TABLE, mass_g=10.2, sizes_mm=[30.1])[0]
    assert (best.key, best.note) == ("knob 30", "")
    assert best.probability > 0.99


def test_mirrored_twins_are_named_not_guessed():
    """Both hinges get one half and the note to look at the picture."""
    first, second = identify(TABLE, mass_g=22.1, sizes_mm=[60.0, 20.0])[:2]
    assert first.probability == pytest.approx(second.probability)
    assert "cannot tell" in first.note
    assert "cannot tell" in second.note


@given(mass=st.floats(5, 30), sizes=st.lists(st.floats(5, 80), max_size=3))
def test_probabilities_add_to_one(mass, sizes):
    """Whatever is measured, and in whatever order."""
    found = identify(TABLE, mass_g=mass, sizes_mm=sizes)
    assert math.fsum(m.probability for m in found) == pytest.approx(1)
    turned = identify(TABLE, mass_g=mass, sizes_mm=sizes[::-1])
    assert [m.key for m in turned] == [m.key for m in found]


def test_what_is_still_missing_counts_as_evidence():
    """A part of which thirty are missing is more likely than its look-alike of which one is."""
    twin = replace(KNOB28, key="knob 28 b")
    found = identify([replace(KNOB28, missing=30), twin], mass_g=9.0)
    assert found[0].probability == pytest.approx(30 / 31)
    assert identify([KNOB28, replace(twin, missing=0)], mass_g=9.0)[0].probability == 1.0


def test_a_stranger_is_said_to_be_one():
    """80 g fits nothing that is looked for."""
    assert "fits none" in identify(TABLE, mass_g=80.0)[0].note


def test_trapped_powder_shows_on_the_scale():
    """3 g more on a part of 22 g is powder; 0.5 g is not."""
    assert trapped_powder_g(22, 25)[1]
    assert not trapped_powder_g(22, 22.5)[1]


@pytest.mark.parametrize(
    ("mass", "sizes", "words"),
    [(None, [], "neither a mass"), (0.0, [], "reading of 0"), (5.0, [float("nan")], "reading of nan"),
     (5.0, [1, 2, 3, 4], "4 sizes measured")],
)  # fmt: skip
def test_readings_that_cannot_be_are_refused(mass, sizes, words):
    """An empty scale does not name a part."""
    with pytest.raises(InputError, match=words):
        identify(TABLE, mass_g=mass, sizes_mm=sizes)


def test_how_many_may_lie_on_the_scale():
    """At three sigmas with 1 % spread and 20 as reference the lot still rounds right, one more does not."""
    most = most_on_scale(20, 0.01)
    assert 3 * count_sigma(most, 20, 0.01) < 0.5 <= 3 * count_sigma(most + 1, 20, 0.01)


def test_the_stated_chance_of_a_count_is_true():
    """Over 3000 simulated weighings of 120 pieces the count is right about as often as it says."""
    rng = np.random.default_rng(5)
    right, said = 0, 0.0
    for _ in range(3000):
        reference = rng.normal(1.0, 0.01, 20).sum()
        n, chance = count_by_weight(rng.normal(1.0, 0.01, 120).sum(), reference, 20, 0.01)
        right += n == 120
        said += chance
    assert right / 3000 == pytest.approx(said / 3000, abs=0.03)
