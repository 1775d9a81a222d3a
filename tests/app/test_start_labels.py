"""A build does not start before its chamber and its powder were held against it, or somebody named does without."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from cakewright.app import run_build
from cakewright.app.authority import grant
from cakewright.app.note_task import note_task
from cakewright.app.powder_blend import Weighing, propose_blend, weigh_blend
from cakewright.app.powder_books import look
from cakewright.app.powder_build import charge_build
from cakewright.app.powder_deeds import make_can, opening_stock, receive_lot
from cakewright.app.start_labels import do_without
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind
from cakewright.model.plan import TaskKind
from cakewright.powder.ledger import ContainerKind
from cakewright.store import open_store
from tests.documents.world import START, week

NOW = START + timedelta(hours=1)
JON = {"by": "Jon", "at": NOW}


@pytest.fixture
def store(new_database):
    """The invented week, with one delivery and one used can on the shelf."""
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=START)
        receive_lot(store, material="PA12", supplier_lot="V-1", drums_kg=[20, 20], certificate="V-1.pdf",
                    expires=date(2028, 1, 31), melt_flow=50, by="Mira", at=START)  # fmt: skip
        used = make_can(store, material="PA12", by="Mira", at=START)
        opening_stock(store, used, 20, builds_seen=1, by="Mira", at=START)
        yield store


@pytest.fixture
def plan():
    return replace(week(), version=1, made_by="Mira")


def released(store, plan):
    build = plan.build("B1")
    run_build.release(store, plan, build, **JON)
    for point in run_build.run_state(store, plan, build).checks:
        run_build.say_check(store, plan, build, point.key, **JON)
    return build


def blended(store, plan):
    picks = propose_blend(store, plan, "B1", today=NOW.date()).blend.picks
    return weigh_blend(store, plan, "B1", [Weighing(p.can, p.kg, p.kg) for p in picks], **JON).blend


def test_chamber_and_powder_are_needed(store, plan):
    """Each missing label is named; the blend of the build, scanned before or after it is poured in, is right."""
    build = released(store, plan)
    blocked = run_build.run_state(store, plan, build).blocked
    assert blocked == ("the chamber was not scanned or typed", "the powder can was not scanned or typed")
    run_build.scan(store, plan, build, "K1", **JON)
    with pytest.raises(InputError, match="may not start: the powder can was not scanned"):
        run_build.start(store, plan, build, **JON)
    blend = blended(store, plan)
    charge_build(store, plan, "B1", blend, **JON)
    assert run_build.scan(store, plan, build, f"cakewright:can/{blend}", **JON).data["verdict"] == "right"
    run_build.start(store, plan, build, **JON)
    assert run_build.run_state(store, plan, build).started == NOW


def test_a_drum_that_was_not_blended_is_the_wrong_powder(store, plan):
    """Virgin powder held against the machine blocks with its reason, and is not overridden."""
    build = released(store, plan)
    run_build.scan(store, plan, build, "K1", **JON)
    drum = next(k for k, c in look(store).ledger.containers.items() if c.kind is ContainerKind.VIRGIN)
    run_build.scan(store, plan, build, drum, **JON)
    with pytest.raises(InputError, match="only a blend goes into a machine"):
        run_build.start(store, plan, build, **JON)
    with pytest.raises(InputError, match="wrong label is not overridden"):
        do_without(store, plan, build, "powder", reason="hurry", **JON)


def test_a_named_person_does_without_and_stands_in_the_record(store, plan):
    """The scanner is broken: a name, a reason, once for each label; who may not release a build may not do that."""
    build = released(store, plan)
    for what in ("chamber", "powder"):
        with pytest.raises(InputError, match="no reason is given"):
            do_without(store, plan, build, what, reason=" ", **JON)
        do_without(store, plan, build, what, reason="scanner broken", **JON)
    run_build.start(store, plan, build, **JON)
    kept = store.floor.records(plan=1, build="B1", kind=FloorKind.WITHOUT)
    assert [(r.by, r.data["what"], r.data["reason"]) for r in kept] == [
        ("Jon", "chamber", "scanner broken"),
        ("Jon", "powder", "scanner broken"),
    ]
    with pytest.raises(InputError, match="'traveller' is no label"):
        do_without(store, plan, build, "traveller", reason="x", **JON)
    grant(store, plan, person="Ada", step="release-build", until="", note="", by="Mira", at=NOW)
    with pytest.raises(InputError, match="Jon is not entered for 'release a build'; entered: Ada"):
        do_without(store, plan, build, "powder", reason="scanner broken", **JON)


def test_a_note_that_the_print_began_asks_for_the_labels_too(store, plan):
    """Also an end without a begin; a reason with a name lets it pass and is kept; a wrong label is not overridden."""
    print_of = {"kind": TaskKind.PRINT, "build": "B1", "at": NOW, "by": "Jon"}
    for said in ({"started": NOW}, {"ended": NOW}):
        with pytest.raises(InputError, match="the chamber was not scanned"):
            note_task(store, plan, **print_of, **said)
    note_task(store, plan, **print_of)  # not begun: nothing to ask
    note_task(store, plan, kind=TaskKind.LOAD, build="B1", started=NOW, at=NOW, by="Jon")
    run_build.scan(store, plan, plan.build("B1"), "chamber that is not there", **JON)
    with pytest.raises(InputError, match="wrong"):
        note_task(store, plan, **print_of, started=NOW, without="scanner broken")
    assert not [p for p in store.schedule.progress_of(1) if p.kind is TaskKind.PRINT and p.started]


def test_a_name_and_a_reason_stand_for_labels_once(store, plan):
    """Both labels are done without by name; the end of that print is noted without asking again."""
    print_of = {"kind": TaskKind.PRINT, "build": "B1", "at": NOW, "by": "Jon"}
    note_task(store, plan, **print_of, started=NOW, without="the reader fell into the powder")
    kept = store.floor.records(plan=1, build="B1", kind=FloorKind.WITHOUT)
    assert {(r.data["what"], r.by) for r in kept} == {("chamber", "Jon"), ("powder", "Jon")}
    later = NOW + timedelta(hours=1)
    note_task(store, plan, **{**print_of, "at": later}, started=NOW, ended=later)
    assert len(store.floor.records(plan=1, build="B1", kind=FloorKind.WITHOUT)) == 2
