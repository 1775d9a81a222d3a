"""A small part of benchmarks/features.py: a shape for each limit, turned, 15 % on either side of it."""

import pytest
from benchmarks.features import judged
from benchmarks.made_features import made_parts, mesh_of, turned

from cakewright.parts.limits import limits_of
from tests.parts.test_check import NYLON


def one_shape_each():
    """The first shape of each finding at 0.85 and 1.15 times its limit."""
    shapes = {}
    for part in made_parts(limits_of(NYLON)):
        if part.ratio in (0.85, 1.15) and shapes.setdefault(part.code, part.shape) == part.shape:
            yield part


@pytest.mark.parametrize("part", list(one_shape_each()), ids=lambda p: f"{p.code} {p.shape} {p.ratio}")
def test_the_finding_is_there_exactly_when_it_is_due(part):
    """And nothing else is said that the part does not deserve."""
    codes = {f.code for f in judged(turned(mesh_of(part.body), part.body, 21), part.shape)}
    assert (part.code in codes) is part.is_due
    assert codes - part.allowed - {part.code} == set()
