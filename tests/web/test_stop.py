"""What a stop leaves, told before it happens."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cakewright.app.stop_build import PieceFate, after_stop
from cakewright.errors import InputError
from tests.documents.world import week

V = "/api/v1/plans/2/builds/B1/stop"


def test_a_stop_among_the_knobs():
    """At 30 mm the brackets are whole, the knobs (25 to 44 mm) half made, ducts and clips not begun."""
    plan = week()
    after = after_stop(plan, plan.builds[0], 300)
    assert {line.line: (line.whole, line.doubtful, line.half, line.not_begun) for line in after.lines} == {
        1: (4, 0, 0, 0), 2: (0, 0, 6, 0), 3: (0, 0, 0, 3), 5: (0, 0, 0, 6),
    }  # fmt: skip
    knobs = next(line for line in after.lines if line.line == 2)
    cost = next(c for c in plan.costs if c.line == 2)
    assert knobs.again == 6
    assert knobs.again_cost == pytest.approx(cost.total)
    assert after.sintered_in_scrap_cm3 == pytest.approx(6 * 5 / 19 * plan.parts["knob"].measures.volume_cm3)


def test_pieces_just_below_the_stop_are_looked_at():
    """A bracket that ends at 13.0 mm is whole at 15 mm and doubtful at 14 mm, with the margin of 2 mm."""
    plan = week()
    assert after_stop(plan, plan.builds[0], 150).count(PieceFate.WHOLE) == 4
    near = after_stop(plan, plan.builds[0], 140)
    assert (near.count(PieceFate.WHOLE), near.count(PieceFate.DOUBTFUL)) == (0, 4)
    assert after_stop(plan, plan.builds[0], 140, margin_mm=0.5).count(PieceFate.WHOLE) == 4


@given(layer=st.integers(0, 1350))
def test_no_piece_is_forgotten_and_hours_add_up(layer):
    """Each piece has one fate; a later stop never loses more; hours before and after the stop are all hours."""
    plan = week()
    build = plan.builds[0]
    after = after_stop(plan, build, layer)
    assert sum(after.count(fate) for fate in PieceFate) == build.pieces
    assert sum(line.whole + line.doubtful + line.again for line in after.lines) == build.pieces
    later = after_stop(plan, build, min(layer + 50, 1350))
    assert sum(line.again for line in later.lines) <= sum(line.again for line in after.lines)
    time = build.print_time
    all_s = time.layer_s.sum() + time.end_s + (time.warm_up_s if layer else 0)
    assert np.isclose(after.hours_printed + after.hours_open, all_s / 3600)


def test_at_the_end_everything_is_whole_and_at_the_start_nothing():
    """The two ends of the slider."""
    plan = week()
    build = plan.builds[0]
    assert after_stop(plan, build, 1350).count(PieceFate.WHOLE) == build.pieces
    assert after_stop(plan, build, 0).count(PieceFate.NOT_BEGUN) == build.pieces


def test_a_layer_that_is_not_there():
    """Asking beyond the build is refused."""
    plan = week()
    with pytest.raises(InputError, match="layers 0 to 1350"):
        after_stop(plan, plan.builds[0], 1351)
    with pytest.raises(InputError, match="margin"):
        after_stop(plan, plan.builds[0], 10, margin_mm=-1)


def test_the_interface_answers(client):
    """The slider's question over HTTP; a layer beyond the build has the one error shape."""
    assert client.get(V, params={"layer": 300}).json()["lines"][1]["half"] == 6
    assert client.get(V, params={"layer": 99999}).json()["error"]["code"] == "input"
