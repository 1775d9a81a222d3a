"""A scale is changed on evidence only: a rule, one group, cold cakes, a second person; then from the next plan on."""

from datetime import timedelta

import pytest

from cakewright.app import run_build, scale_change
from cakewright.app.learnt_cell import as_recorded
from cakewright.errors import InputError
from cakewright.formats.lengths_csv import WantedLength
from tests.app.floor_worlds import NOW

STEADY = [1.0003, 0.9997, 1.0002, 0.9998, 1.0003, 0.9998, 1.0001]
DRIFTED = [*STEADY, 0.9970, 0.9971, 0.9969]


@pytest.fixture
def store(store, plan):
    """Five plans of the week."""
    for _ in range(4):
        store.save_plan(plan, made_by="Mira", at=NOW)
    return store


def ladder(scale):
    return [WantedLength(0, wanted, scale * wanted + 0.1) for wanted in (10.0, 40.0, 80.0, 120.0)]


def measure(store, plan, scales, by="Jon"):
    """One ladder for each build of each plan, in order."""
    places = [(version, key) for version in range(1, 6) for key in ("B1", "B2")]
    for n, (scale, (version, key)) in enumerate(zip(scales, places, strict=False)):
        scale_change.keep_ladder(
            store, store.load_plan(version), key, ladder(scale), by=by, at=NOW + timedelta(hours=n)
        )


def test_noise_is_left_alone_and_a_drift_is_proposed_with_its_effect(store, plan):
    """Seven builds are too few; three low ones after seven steady ones fire a rule and correct 30 % of the error."""
    measure(store, plan, STEADY)
    (state,) = scale_change.axis_states(store, plan)
    assert "too few" in state.proposal.reason
    measure(store, plan, DRIFTED)
    (state,) = scale_change.axis_states(store, plan)
    assert (state.machine, state.axis) == ("A1", "x")
    assert state.proposal.new_factor == pytest.approx(1 + 0.3 * 0.003, abs=2e-5)
    assert state.proposal.effect_mm == pytest.approx(0.09, abs=0.002)
    assert state.proposal.evidence[-1] == "5-B2"


def test_a_second_person_approves_and_the_next_plan_draws_with_it(store, plan):
    """Whoever measured does not approve; afterwards counting begins again with the builds of plan 6."""
    measure(store, plan, DRIFTED)
    with pytest.raises(InputError, match="Jon measured it"):
        scale_change.approve(store, plan, "A1", "x", by="Jon", at=NOW)
    kept = scale_change.approve(store, plan, "A1", "x", by="Ada", at=NOW)
    assert kept.data["from_plan"] == 6
    cell = as_recorded(plan.cell, store)
    assert cell.machines[0].export_scale[0] == kept.data["new"]
    assert as_recorded(cell, store) == cell
    (state,) = scale_change.axis_states(store, plan)
    assert (state.ladders, state.factor) == ((), kept.data["new"])
    with pytest.raises(InputError, match="no change of A1 x is proposed"):
        scale_change.approve(store, plan, "A1", "x", by="Ada", at=NOW)


def test_a_cake_opened_early_does_not_count(store, plan):
    """Its ladder is kept and shown, and the proposal needs another build."""
    run_build.open_early(store, store.load_plan(5), plan.build("B2"), by="Jon", at=NOW, reason="hurry")
    measure(store, plan, [*STEADY, 0.9970])
    (state,) = scale_change.axis_states(store, plan)
    assert state.proposal.new_factor is None or "5-B2" not in state.proposal.evidence
    measure(store, plan, DRIFTED)
    (state,) = scale_change.axis_states(store, plan)
    assert [m.build for m in state.ladders if not m.opened_cold] == ["5-B2"]
    assert "5-B2" not in state.proposal.evidence


def test_too_few_lengths_and_strange_builds_are_refused(store, plan):
    """Two lengths fit anything; a build that the plan does not have is answered with those it has."""
    with pytest.raises(InputError, match="three unlike outside lengths"):
        scale_change.keep_ladder(store, plan, "B1", ladder(1.0)[:2], by="Jon", at=NOW)
    with pytest.raises(InputError, match="no build 'B9'"):
        scale_change.keep_ladder(store, plan, "B9", ladder(1.0), by="Jon", at=NOW)
