"""Who may do what: entered, ended, taken back; a step with one name is a risk."""

from datetime import timedelta

import pytest

from cakewright.app import authority, run_build
from cakewright.app.authority import Standing, Step
from cakewright.errors import InputError
from tests.app.floor_worlds import NOW

TODAY = NOW.date()


def grant(store, plan, person, step, days=None, by="Mira"):
    until = "" if days is None else (TODAY + timedelta(days=days)).isoformat()
    authority.grant(store, plan, person=person, step=step, until=until, note="watched twice", by=by, at=NOW)


def test_until_somebody_is_entered_a_step_is_open_to_all(store, plan):
    """A new cell is not locked out; with the first name only names count."""
    assert authority.why_not(store, "Jon", Step.START, TODAY) == ""
    grant(store, plan, "Dev", "start")
    assert "Jon is not entered for 'start and end a print'; entered: Dev" in authority.why_not(
        store, "Jon", Step.START, TODAY
    )
    assert authority.why_not(store, "dev ", Step.START, TODAY) == ""


def test_the_last_day_still_counts_and_the_next_does_not(store, plan):
    """An authority until today holds today; tomorrow it is refused with the day on which it ended."""
    grant(store, plan, "Dev", "release-build", days=0)
    assert authority.why_not(store, "Dev", Step.RELEASE_BUILD, TODAY) == ""
    why = authority.why_not(store, "Dev", Step.RELEASE_BUILD, TODAY + timedelta(days=1))
    assert f"ended on {TODAY}" in why
    assert "nobody at present" in why
    assert authority.authorities(store)["dev", Step.RELEASE_BUILD].standing(TODAY) is Standing.SOON


def test_release_and_start_ask_for_it(store, plan):
    """Somebody without authority is refused at the machine, with who may."""
    grant(store, plan, "Ada", "release-build")
    grant(store, plan, "Dev", "start")
    build = plan.build("B1")
    with pytest.raises(InputError, match="Jon is not entered for 'release a build'; entered: Ada"):
        run_build.release(store, plan, build, by="Jon", at=NOW)
    run_build.release(store, plan, build, by="Ada", at=NOW)
    with pytest.raises(InputError, match="entered: Dev"):
        run_build.start(store, plan, build, by="Ada", at=NOW)


def test_a_step_with_one_name_is_a_risk(store, plan):
    """By the skills of the cell file only Mira unpacks and inspects; two may start; entered names replace skills."""
    risks = {r.step for r in authority.matrix(store, plan, TODAY) if r.is_risk}
    assert {Step.UNPACK, Step.INSPECT} <= risks
    assert Step.START not in risks
    said = {f.where: f for f in authority.training_findings(store, plan, TODAY)}
    assert said["inspect"].message == "only Mira may do it"
    for person in ("Dev", "Ada"):
        grant(store, plan, person, "inspect")
    assert Step.INSPECT not in {r.step for r in authority.matrix(store, plan, TODAY) if r.is_risk}


def test_what_ends_is_announced_and_what_ended_is_said(store, plan):
    """Within a month a note, afterwards a warning; taken back it is silent and does not hold."""
    grant(store, plan, "Dev", "blend", days=10)
    grant(store, plan, "Ada", "blend", days=-1)
    codes = [f.code for f in authority.training_findings(store, plan, TODAY)]
    assert codes[:2] == ["floor.training-ended", "floor.training-soon"]
    authority.take_back(store, plan, person="dev", step="blend", why="accident", by="Mira", at=NOW)
    assert "taken back by Mira" in authority.why_not(store, "Dev", Step.BLEND, TODAY)
    assert [r.names for r in authority.matrix(store, plan, TODAY) if r.step is Step.BLEND] == [()]
    with pytest.raises(InputError, match="nothing to take back"):
        authority.take_back(store, plan, person="dev", step="blend", why="", by="Mira", at=NOW)


def test_nobody_signs_for_themselves_and_steps_are_known(store, plan):
    """The trainer is another person; a step that does not exist is answered with those that do."""
    with pytest.raises(InputError, match="cannot sign the own training"):
        grant(store, plan, "Mira", "start", by="mira")
    with pytest.raises(InputError, match="'juggle' is no step"):
        grant(store, plan, "Dev", "juggle")
    with pytest.raises(InputError, match="no day"):
        authority.grant(store, plan, person="Dev", step="start", until="soon", note="", by="Mira", at=NOW)
