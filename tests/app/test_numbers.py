"""Planned against actual of the invented week: what was noted counts, the rest is not recorded, sums hold."""

from dataclasses import replace
from datetime import timedelta

import pytest

from cakewright.app.actuals import line_records, planned_needs, records_of
from cakewright.app.contain import decide, mistakes, report_mistake
from cakewright.app.machine_hours import COOLING, EMPTY, HANDLING, PRINTING, STOPPED, WAITING
from cakewright.app.number_tables import numbers_csv, numbers_xlsx, tables_of
from cakewright.app.numbers import week_numbers
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from cakewright.store import PieceState, open_store
from tests.documents.world import START, week

HOUR = timedelta(hours=1)
LATER = START + 200 * HOUR


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "cell.sqlite") as opened:
        opened.save_plan(week(), made_by="Mira", at=START)
        yield opened


@pytest.fixture
def plan(store):
    return store.load_plan(1)


def note(store, kind, begins, ends, build="", line=None):
    started, ended = START + begins * HOUR, START + ends * HOUR
    store.schedule.note_progress(plan=1, kind=kind, build=build, line=line, started=started, ended=ended, at=LATER,
                                 by="Mira")  # fmt: skip


def test_nothing_noted_is_not_recorded(store, plan):
    """Without a word from the floor there is no actual, no variance and no kept date; the hours say so."""
    n = week_numbers(store, plan, LATER)
    assert all(
        r.machine_h.actual is r.virgin_kg.actual is r.hands_min.actual is r.scrap.actual is None for r in n.lines
    )
    assert [v.split for v in n.variances] == [None] * 3
    assert dict(n.hours.recorded.reasons) == {"not recorded": pytest.approx(n.hours.recorded.calendar_h)}
    assert n.on_time.kept == 0 and n.on_time.known == len(plan.promises) and n.waste == ()
    assert [p.actual for p in n.priced] == [p.planned for p in n.priced]


def test_shares_of_a_build_add_up_to_it(plan):
    """Machine hours and virgin kg of the lines are those of the builds."""
    needs = planned_needs(plan)
    for b in plan.builds:
        here = [need for (key, _), need in needs.items() if key == b.key]
        assert sum(x.machine for x in here) == pytest.approx(b.print_time.hours)
        assert sum(x.powder_in_parts + x.refresh_burden for x in here) == pytest.approx(b.powder.virgin_kg)


def test_a_longer_print_is_borne_by_its_lines(store, plan):
    """B1 took ten per cent more hours: each of its lines bears ten per cent more, B2 stays unrecorded."""
    b1 = plan.build("B1")
    note(store, TaskKind.PRINT, 1.5, 1.5 + 1.1 * b1.print_time.hours, build="B1")
    n = week_numbers(store, plan, LATER)
    for r in n.lines:
        if r.line in b1.lines:
            assert r.machine_h.actual == pytest.approx(1.1 * r.machine_h.planned) and r.machine_h.is_whole
        else:
            assert r.machine_h.actual is None
    machine = n.variances[0]
    assert set(machine.lines) == set(b1.lines)
    assert float(machine.split.usage) == pytest.approx(0.1 * b1.print_time.hours * 9.0, abs=0.01)
    assert machine.split.price == machine.split.mix == machine.split.yield_loss == 0
    assert float(machine.split.total) == pytest.approx(machine.actual - machine.planned, abs=0.01)


def test_causes_add_up_when_pieces_and_prices_differ_too(store, plan):
    """A broken piece, a longer print, a dearer machine: the causes sum to the difference to the cent."""
    note(store, TaskKind.PRINT, 1.5, 12, build="B1")
    piece = plan.build("B1").pieces_of(2)[0].piece
    store.record_piece(plan=1, build="B1", piece=piece, state=PieceState.BROKEN, by="Mira", at=LATER)
    dearer = replace(plan.cell, machines=tuple(replace(m, rate_per_h=12.0) for m in plan.cell.machines))
    v = week_numbers(store, plan, LATER, dearer).variances[0]
    s = v.split
    assert s.price > 0 and s.yield_loss > 0 and s.volume < 0
    assert s.volume + s.mix + s.yield_loss + s.usage + s.price == s.total
    assert float(s.total) == pytest.approx(v.actual - v.planned, abs=0.006)


def test_scrap_counts_a_piece_once(store, plan):
    """Broken at break-out and rejected later is one piece; a piece found again is none."""
    first, second = (p.piece for p in plan.build("B1").pieces_of(2)[:2])
    for piece in (first, second):
        store.record_piece(plan=1, build="B1", piece=piece, state=PieceState.BROKEN, by="Mira", at=LATER)
    store.record_piece(plan=1, build="B1", piece=second, state=PieceState.FOUND, by="Mira", at=LATER)
    report_mistake(store, plan, first, what="cracked", cause="dropped", by="Mira", at=LATER)
    decide(store, plan, mistakes(store, plan)[0].record.number, "reject and remake", by="Mira", at=LATER)
    scrap = next(r for r in line_records(plan, records_of(store, plan)) if r.line == 2).scrap
    assert (scrap.actual, scrap.recorded, scrap.of) == (1, 2, 6)


def test_hands_compare_the_same_tasks(store, plan):
    """Unpacking of B1 took three hours instead of two: the lines bear that hour by their room."""
    note(store, TaskKind.UNPACK, 26, 29, build="B1")
    rows = line_records(plan, records_of(store, plan))
    changes = [r.hands_min.change for r in rows if r.hands_min.change is not None]
    assert len(changes) == len(plan.build("B1").lines) and sum(changes) == pytest.approx(60)
    assert not any(r.hands_min.is_whole for r in rows)


def test_hours_sum_to_the_calendar(store, plan):
    """Planned hours have no unknown rest; recorded ones name what was noted and leave the rest unrecorded."""
    note(store, TaskKind.LOAD, 1.2, 1.6, build="B1")
    note(store, TaskKind.PRINT, 2, 11, build="B1")
    h = week_numbers(store, plan, LATER).hours
    for side in (h.planned, h.recorded):
        assert sum(hours for _, hours in side.reasons) == pytest.approx(side.calendar_h)
    planned, recorded = dict(h.planned.reasons), dict(h.recorded.reasons)
    assert "not recorded" not in planned and planned[PRINTING] == pytest.approx(14.5)
    assert recorded[PRINTING] == pytest.approx(9) and recorded[WAITING] == pytest.approx(0.4)
    assert recorded[EMPTY] == pytest.approx(1.2) and recorded[HANDLING] == pytest.approx(0.4)


def test_a_stopped_build_is_named(store, plan):
    """The hours of a build that stopped are none of printing."""
    store.schedule.note_progress(plan=1, kind=TaskKind.PRINT, build="B1", started=START + HOUR, at=LATER, by="Mira")
    store.schedule.note_stop(plan=1, build="B1", layer=300, cause="power", margin_mm=2, stopped=START + 4 * HOUR,
                             recovery="remake", new_plan=None, at=LATER, by="Mira")  # fmt: skip
    n = week_numbers(store, plan, LATER)
    recorded = dict(n.hours.recorded.reasons)
    assert recorded[STOPPED] == pytest.approx(3) and PRINTING not in recorded and COOLING not in recorded
    assert n.builds[0].record.is_stopped


def test_kept_dates(store, plan):
    """One line packed in time, one packed late, the others passed their day."""
    note(store, TaskKind.PACK, 51, 51.5, line=2)
    note(store, TaskKind.PACK, 150, 150.5, line=1)
    n = week_numbers(store, plan, LATER)
    assert (n.on_time.kept, n.on_time.known) == (1, len(plan.promises))


def test_tables_hold_what_the_page_shows(store, plan):
    """CSV and workbook; a name that would run as a formula does not; a strange table is refused."""
    n = week_numbers(store, plan, LATER)
    text = numbers_csv(n)
    assert "'=ring(1)" in text and len(text.splitlines()) == 1 + len(n.lines)
    assert numbers_xlsx(n)[:2] == b"PK"
    assert {"lines", "builds", "variances", "machine hours", "families", "waste"} == set(tables_of(n))
    with pytest.raises(InputError, match="no table"):
        numbers_csv(n, "dreams")
