"""From release to start, and from a grey part to its line, on the small invented week."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app import run_build
from cakewright.app.identify_part import edges_mm, likely_lines, mass_g_of
from cakewright.app.learnt_cell import as_recorded
from cakewright.app.release_points import Look, release_points
from cakewright.documents.labels import line_id
from cakewright.documents.words import build_id
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.plan import TaskKind
from cakewright.store import PieceState, open_store
from tests.app.floor_worlds import hold_labels
from tests.documents.world import START, week

NOW = START + timedelta(hours=1)


@pytest.fixture
def store(new_database):
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=START)
        yield store


@pytest.fixture
def plan():
    return replace(week(), version=1, made_by="Mira")


def build_of(plan, key="B1"):
    return plan.build(key)


def all_checks(store, plan, build):
    for point in run_build.run_state(store, plan, build).checks:
        run_build.say_check(store, plan, build, point.key, by="Jon", at=NOW)


def test_nobody_releases_their_own_plan(store, plan):
    """Four eyes: the planner's name is refused, another's is kept."""
    with pytest.raises(InputError, match="Mira made this plan"):
        run_build.release(store, plan, build_of(plan), by="Mira", at=NOW)
    run_build.release(store, plan, build_of(plan), by="Jon", at=NOW)
    assert run_build.run_state(store, plan, build_of(plan)).released.by == "Jon"


def test_a_build_whose_nest_is_not_proven_cannot_be_released(store, plan):
    """The second build of the week holds a stuck pair: blocked, with the reason."""
    build = build_of(plan, "B2")
    assert any(p.state is Look.BLOCKED for p in release_points(store, plan, build))
    with pytest.raises(InputError, match="nest is proven"):
        run_build.release(store, plan, build, by="Jon", at=NOW)


def test_it_starts_only_when_released_and_checked(store, plan):
    """Each thing that is missing is named; afterwards it starts once and ends once."""
    build = build_of(plan)
    with pytest.raises(InputError, match="nobody has released it"):
        run_build.start(store, plan, build, by="Jon", at=NOW)
    run_build.release(store, plan, build, by="Jon", at=NOW)
    with pytest.raises(InputError, match="10 checks are open"):
        run_build.start(store, plan, build, by="Jon", at=NOW)
    with pytest.raises(InputError, match="never started"):
        run_build.end(store, plan, build, by="Jon", at=NOW)
    all_checks(store, plan, build)
    with pytest.raises(InputError, match="the chamber was not scanned or typed"):
        run_build.start(store, plan, build, by="Jon", at=NOW)
    hold_labels(store, plan, build)
    run_build.start(store, plan, build, by="Jon", at=NOW)
    with pytest.raises(InputError, match="was started"):
        run_build.start(store, plan, build, by="Jon", at=NOW)
    run_build.end(store, plan, build, by="Jon", at=NOW + timedelta(hours=9))
    state = run_build.run_state(store, plan, build)
    assert (state.started, state.ended) == (NOW, NOW + timedelta(hours=9))


def test_an_end_by_the_machines_clock_teaches_its_hours(store, plan):
    """Twenty per cent longer than planned, as the machine says: the next plan counts on it; a strange end is none."""
    build = build_of(plan)
    store.schedule.note_progress(plan=1, kind=TaskKind.PRINT, build="B1", started=NOW, at=NOW, by="Jon")
    long = timedelta(hours=1.2 * build.print_time.hours)
    with pytest.raises(InputError, match="between its start"):
        run_build.end(store, plan, build, by="Jon", at=NOW + long, machine_end=NOW + 2 * long)
    run_build.end(store, plan, build, by="Jon", at=NOW + timedelta(hours=20), machine_end=NOW + long)
    assert run_build.run_state(store, plan, build).ended == NOW + long
    (log,) = store.physics.logs("A1")
    assert log.total_s == pytest.approx(1.2 * build.print_time.hours * 3600)
    machine = as_recorded(plan.cell, store).machines[0]
    assert machine.time_factors != (1.0, 1.0, 1.0, 1.0)
    assert max(machine.time_factors) > 1.0


def test_an_end_noted_in_the_morning_teaches_nothing(store, plan):
    """Somebody pressed the button at 07:00 for a print that ended in the night: progress yes, hours no."""
    store.schedule.note_progress(plan=1, kind=TaskKind.PRINT, build="B1", started=NOW, at=NOW, by="Jon")
    run_build.end(store, plan, build_of(plan), by="Jon", at=NOW + timedelta(hours=20))
    assert store.physics.logs("A1") == ()


def test_a_wrong_label_blocks_until_the_right_one_is_held_against_it(store, plan):
    """A stranger's can, another build's traveller; then the right traveller."""
    build = build_of(plan)
    run_build.release(store, plan, build, by="Jon", at=NOW)
    all_checks(store, plan, build)
    hold_labels(store, plan, build)
    wrong = run_build.scan(store, plan, build, "cakewright:plan-1/B2", by="Jon", at=NOW)
    assert "not to build B1" in wrong.data["verdict"]
    assert not run_build.run_state(store, plan, build).may_start
    assert run_build.scan(store, plan, build, "cakewright:plan-1/B1", by="Jon", at=NOW).data["verdict"] == "right"
    assert run_build.run_state(store, plan, build).may_start
    assert "unlabelled can is waste" in run_build.scan(store, plan, build, "scrawl", by="Jon", at=NOW).data["verdict"]
    assert "unlabelled can is waste" in run_build.run_state(store, plan, build).blocked[0]
    run_build.scan(store, plan, build, "K1", by="Jon", at=NOW)
    assert run_build.run_state(store, plan, build).may_start


def test_the_code_on_the_paper_and_the_key_typed_are_the_same(store, plan):
    """The traveller's QR code, a tray label and the short key are right for their build and wrong for another."""
    first, second = build_of(plan), build_of(plan, "B2")
    for code in (build_id(plan, "B1"), line_id(plan, "B1", 1), "b1", "cakewright:plan-1/B1"):
        assert run_build.scan(store, plan, first, code, by="Jon", at=NOW).data["verdict"] == "right", code
        assert "not to build B2" in run_build.scan(store, plan, second, code, by="Jon", at=NOW).data["verdict"], code
    assert (
        "not to build B1 of plan 1"
        in run_build.scan(store, plan, first, "cakewright:plan-9/build-B1", by="Jon", at=NOW).data["verdict"]
    )


def test_a_machine_that_is_called_like_a_build_is_its_machine(store, plan):
    """Machine B1 prints build B2: its label held against B2 is the machine, and not the paper of build B1."""
    renamed = tuple(replace(m, name="B1") for m in plan.cell.machines)
    builds = tuple(replace(b, machine="B1") for b in plan.builds)
    named = replace(plan, cell=replace(plan.cell, machines=renamed), builds=builds)
    said = run_build.scan(store, named, named.build("B2"), "b1", by="Jon", at=NOW).data
    assert (said["what"], said["verdict"]) == ("machine", "right")


def test_a_newer_revision_blocks_the_release(store, plan):
    """Revision C of the plate is in the newest plan: the build that prints A must not be released."""
    newer = replace(plan.parts["plate"], revision="C")
    store.save_plan(replace(plan, parts={**plan.parts, "plate": newer}), made_by="Mira", at=NOW)
    with pytest.raises(InputError, match="plate: revision C is known, this build prints A"):
        run_build.release(store, plan, build_of(plan), by="Jon", at=NOW)


def test_two_revisions_ordered_in_one_plan_are_looked_at(store, plan):
    """A spare part in the old revision beside the new one is meant: it wants a look, and is no block."""
    both = replace(plan, parts={**plan.parts, "plate new": replace(plan.parts["plate"], revision="C")})
    (point,) = [p for p in release_points(store, both, build_of(both)) if p.what == "files and revisions"]
    assert (point.state, "C is ordered as well" in point.found) == (Look.LOOK, True)


def test_checks_that_find_things_come_first(store, plan):
    """Three builds' worth of records: the check with finds leads the list, with its share by the weak prior."""
    build = build_of(plan)
    key = run_build.run_state(store, plan, build).checks[-1].key
    for n in range(3):
        run_build.say_check(store, plan, build, key, by="Jon", at=NOW + timedelta(minutes=n), found="a nick")
    first = run_build.run_state(store, plan, build).checks[0]
    assert (first.key, first.done, first.found) == (key, 3, 3)
    assert first.find_rate == pytest.approx(3.5 / 4)


def test_opening_early_needs_a_reason(store, plan):
    """No reason, no record; with one, the record holds what the model said."""
    build = build_of(plan)
    with pytest.raises(InputError, match="no reason"):
        run_build.open_early(store, plan, build, by="Jon", at=NOW, reason=" ")
    kept = run_build.open_early(store, plan, build, by="Jon", at=NOW, reason="customer waits at the door")
    assert kept.kind is FloorKind.OPENED_EARLY
    assert kept.data["pieces"] == build.pieces


def test_a_record_sent_twice_is_kept_once(store):
    """The same uid with the same content comes back as it was; with other content it is refused; no name, no record."""
    record = FloorRecord("tablet-7-0001", 1, FloorKind.NOTE, "Jon", NOW, "B1", data={"text": "filter changed"})
    first = store.floor.add([record], kept_at=NOW)
    again = store.floor.add([record, replace(record, uid="tablet-7-0002")], kept_at=NOW + timedelta(hours=1))
    assert again[0] == first[0]
    assert len(store.floor.records(plan=1)) == 2
    with pytest.raises(InputError, match="other content"):
        store.floor.add([replace(record, data={"text": "no"})], kept_at=NOW)
    with pytest.raises(InputError, match="name"):
        store.floor.add([replace(record, uid="tablet-7-0003", by=" ")], kept_at=NOW)
    with pytest.raises(InputError, match="no build B9"):
        store.floor.add([replace(record, uid="tablet-7-0004", build="B9")], kept_at=NOW)
    assert len(store.floor.records(plan=1)) == 2


def test_the_right_line_is_likeliest_by_mass_and_size(store, plan):
    """Each line of a build, weighed and measured as it should be, ranks first or shares that place with its twin."""
    build = build_of(plan)
    for number in build.lines:
        found = likely_lines(plan, build, (), mass_g=mass_g_of(plan, number), sizes_mm=edges_mm(plan, number)[:2])
        best = found[0]
        assert (
            number in (best.line, best.twin)
            or best.probability - next(f.probability for f in found if f.line == number) < 0.05
        )
        assert sum(f.probability for f in found) == pytest.approx(1.0)


def test_found_pieces_are_looked_for_no_more(store, plan):
    """A line whose pieces were all found is no candidate; when nothing is left the answer says so."""
    build = build_of(plan)
    gone = build.lines[0]
    for piece in build.pieces_of(gone):
        store.record_piece(plan=1, build="B1", piece=piece.piece, state=PieceState.FOUND, by="Jon", at=NOW)
    records = store.piece_records(1, "B1")
    assert gone not in {f.line for f in likely_lines(plan, build, records, mass_g=5.0)}
    for piece in build.nest.placements:
        store.record_piece(plan=1, build="B1", piece=piece.piece, state=PieceState.FOUND, by="Jon", at=NOW)
    with pytest.raises(InputError, match="no piece is missing"):
        likely_lines(plan, build, store.piece_records(1, "B1"), mass_g=5.0)
    with pytest.raises(InputError, match="nothing is measured"):
        likely_lines(plan, build, ())


def test_the_depth_leaves_only_what_lies_there(plan):
    """Right at the top only pieces that reach the top remain; far below the cake nothing does."""
    build = build_of(plan)
    top = max(p.z_max_mm for p in build.nest.placements)
    cover = plan.cell.chamber_type(build.chamber_type).cover_mm
    found = likely_lines(plan, build, (), depth_mm=cover)
    assert {p for f in found for p in f.pieces} == {p.piece for p in build.nest.placements if p.z_max_mm >= top - 15.0}
    with pytest.raises(InputError, match="no piece is missing there"):
        likely_lines(plan, build, (), depth_mm=5000)


def test_a_release_of_an_older_plan_does_not_read_the_newest_whole(store, plan, monkeypatch):
    """Which files the newest plan knows is asked of its parts, not of its nests: the page of a run is asked often."""
    store.save_plan(plan, made_by="Mira", at=NOW)
    monkeypatch.setattr(type(store), "load_plan", lambda *_: pytest.fail("a plan was read"))
    points = {p.what: p for p in release_points(store, plan, build_of(plan))}
    assert points["files and revisions"].state is Look.GOOD
