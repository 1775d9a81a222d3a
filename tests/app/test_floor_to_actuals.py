"""What was recorded on the floor stands in the closing of the plan: time, yield, powder mass, hit rate."""

from datetime import timedelta

import pytest

from cakewright.app import contain, run_build
from cakewright.app.actuals import build_records, line_records, records_of
from cakewright.app.finish_baskets import end_basket, finish_baskets, start_basket
from cakewright.app.hold_lines import release_line
from cakewright.app.pack_line import pack
from cakewright.store import PieceState
from tests.app.floor_worlds import NOW, make_ready


def test_a_line_from_release_to_carton_closes_with_what_really_happened(store, plan):
    """Print 12 h, one plate broken, blasted in a basket for 25 minutes, packed: each figure comes from its record."""
    build, ended = plan.build("B1"), NOW + timedelta(hours=12)
    make_ready(store, plan, build)
    run_build.start(store, plan, build, by="Jon", at=NOW)
    run_build.end(store, plan, build, by="Jon", at=ended)
    for n, piece in enumerate(build.pieces_of(1)):
        state = PieceState.BROKEN if n == 0 else PieceState.FOUND
        store.record_piece(plan=1, build="B1", piece=piece.piece, state=state, by="Jon", at=ended)
    basket = finish_baskets(store, plan)[0]
    station = basket.steps[0].station
    put = start_basket(store, plan, basket.name, [1], by="Mira", at=ended, station=station)
    end_basket(store, plan, put.uid, by="Mira", at=ended + timedelta(minutes=25))
    kept = contain.report_mistake(store, plan, "L01-02", what="warped", cause="opened warm", by="Mira", at=ended)
    contain.decide(store, plan, kept.number, contain.REMAKE, by="Ada", at=ended)
    release_line(store, plan, 1, reason="tested on pieces", by="Ada", at=ended)
    pack(store, plan, 1, pieces=2, carton="1", by="Dev", at=ended)

    records = records_of(store, plan)
    printed = next(b for b in build_records(plan, records) if b.build == "B1")
    assert printed.actual_h == pytest.approx(12.0)
    line = next(r for r in line_records(plan, records) if r.line == 1)
    assert (line.scrap.actual, line.scrap.recorded, line.scrap.of) == (2, 4, 4)
    assert line.machine_h.actual == pytest.approx(line.machine_h.counterpart * 12.0 / build.print_time.hours)
    share = 1 / len(next(t for t in plan.schedule.tasks if t.station == station).lines)
    assert line.hands_min.actual == pytest.approx(25.0 * share)


def test_the_last_carton_is_the_moment_that_counts_for_the_promise(store, plan):
    """A committed promise is kept or not by the last carton, not by when somebody closed the books."""
    store.schedule.commit(plan=1, until=NOW + timedelta(hours=24), at=NOW, by="Mira")
    at = NOW + timedelta(hours=50)
    for piece in plan.build("B1").pieces_of(1):
        store.record_piece(plan=1, build="B1", piece=piece.piece, state=PieceState.FOUND, by="Jon", at=at)
    release_line(store, plan, 1, reason="tested on pieces", by="Ada", at=at)
    pack(store, plan, 1, pieces=3, carton="1", by="Dev", at=at)
    kept = {k.line: k for k in store.schedule.kept_promises()}
    assert kept[1].ready is None
    pack(store, plan, 1, pieces=1, carton="2", by="Dev", at=at + timedelta(hours=1))
    kept = {k.line: k for k in store.schedule.kept_promises()}
    assert kept[1].ready == at + timedelta(hours=1)
