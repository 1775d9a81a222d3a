"""What the cell file says a wish is worth is what the search and the reasons of a build reckon with."""

import dataclasses

import pytest

from cakewright.app.init_cell import template_cell
from cakewright.app.nest_wishes import weights_of, wishes_for
from cakewright.nesting.wishes import Weights

NAMES = ("end", "even_area", "crowding", "early", "fragile", "together", "apart")


def test_a_cell_that_says_nothing_has_the_usual_weights():
    assert weights_of(template_cell().nesting) == Weights()


@pytest.mark.parametrize("name", NAMES)
def test_each_weight_of_the_cell_reaches_the_nest(name):
    """One wish is made dearer in the cell: exactly that one is dearer in the wishes of a build."""
    cell = template_cell()
    rules = dataclasses.replace(cell.nesting, **{f"{name}_weight": 7.0})
    asked = wishes_for([], {}, dataclasses.replace(cell, nesting=rules)).weights
    assert asked == dataclasses.replace(Weights(), **{"evenness" if name == "even_area" else name: 7.0})
