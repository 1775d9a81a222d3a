"""The record of the running week: written once, checked, and read back as promises kept or not."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from tests.documents.world import week
from tests.store.conftest import NOON, behind

WHO = {"at": NOON + timedelta(days=9), "by": "Mira"}


@pytest.fixture
def version(store):
    return store.save_plan(week(), made_by="Mira", at=NOON)


def test_a_commitment_comes_back(store, version):
    """Newest first."""
    store.schedule.commit(plan=version, until=NOON, **WHO)
    store.schedule.commit(plan=version, until=NOON + timedelta(days=1), note="told the team", **WHO)
    newest, older = store.schedule.commitments()
    assert (newest.until, newest.note, older.until) == (NOON + timedelta(days=1), "told the team", NOON)


def test_progress_is_noted_for_tasks_that_exist(store, version):
    """A build by its key, a line by its number; a task that the plan does not have is refused."""
    key = week().builds[0].key
    store.schedule.note_progress(plan=version, kind=TaskKind.PRINT, build=key, started=NOON, **WHO)
    line = next(t for t in week().schedule.tasks if t.kind is TaskKind.PACK).lines[0]
    store.schedule.note_progress(plan=version, kind=TaskKind.PACK, line=line, ended=NOON, **WHO)
    first, second = store.schedule.progress_of(version)
    assert (first.kind, first.build, first.started) == (TaskKind.PRINT, key, NOON)
    assert (second.line, second.ended) == (line, NOON)
    for wrong in ({"build": "B99"}, {"line": 99}, {}):
        with pytest.raises(InputError):
            store.schedule.note_progress(plan=version, kind=TaskKind.PRINT, started=NOON, **wrong, **WHO)


def test_what_cannot_have_happened_is_refused(store, version):
    """An end before the start, an instant in the future, nobody's name."""
    key = week().builds[0].key
    task = {"plan": version, "kind": TaskKind.PRINT, "build": key}
    with pytest.raises(InputError, match="before it starts"):
        store.schedule.note_progress(**task, started=NOON, ended=NOON - timedelta(hours=1), **WHO)
    with pytest.raises(InputError, match="future"):
        store.schedule.note_progress(**task, started=NOON, at=NOON - timedelta(hours=1), by="Mira")
    with pytest.raises(InputError, match="name"):
        store.schedule.note_progress(**task, started=NOON, at=NOON, by=" ")


def test_a_stop_comes_back(store, version):
    """With the recovery that was accepted."""
    key = week().builds[0].key
    store.schedule.note_stop(plan=version, build=key, layer=120, cause="power cut", margin_mm=2.0, stopped=NOON,
                             recovery="one remake", new_plan=None, **WHO)  # fmt: skip
    (stop,) = store.schedule.stops()
    assert (stop.build, stop.layer, stop.cause, stop.new_plan) == (key, 120, "power cut", None)


def test_the_record_cannot_be_changed(store, version):
    """Neither rewritten nor taken away, not even by somebody with a database tool."""
    store.schedule.commit(plan=version, until=NOON, **WHO)
    for deed in ("UPDATE commitment SET plan = 1", "DELETE FROM commitment"):
        with behind(store) as link, pytest.raises(IntegrityError, match="written once"):
            link.execute(text(deed))


def test_the_first_promise_counts(store, version):
    """A later plan with a later date does not make an earlier promise come true."""
    plan = week()
    later = replace(plan, promises=tuple(replace(p, p90=NOON + timedelta(days=30)) for p in plan.promises))
    second = store.save_plan(later, made_by="Mira", at=NOON)
    store.schedule.commit(plan=version, until=NOON, **WHO)
    store.schedule.commit(plan=second, until=NOON, **WHO)
    line = next(t for t in plan.schedule.tasks if t.kind is TaskKind.PACK).lines[0]
    store.schedule.note_progress(plan=second, kind=TaskKind.PACK, line=line, ended=NOON, **WHO)
    kept = {k.line: k for k in store.schedule.kept_promises()}
    assert len(kept) == len(plan.promises)
    assert kept[line].plan == version and kept[line].ready == NOON
    assert {k.ready for n, k in kept.items() if n != line} == {None}
