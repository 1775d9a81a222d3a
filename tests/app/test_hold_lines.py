"""A line whose class wants specimens is held until they are tested and passed, or somebody lets it go."""

from datetime import timedelta

import pytest

from cakewright.app import authority, hold_lines, specimens
from cakewright.app.note_task import note_task
from cakewright.app.pack_line import pack, packing_of_order
from cakewright.app.specimen_places import bench_day, places_words, specimen_places
from cakewright.errors import InputError
from cakewright.model.plan import TaskKind
from cakewright.store import PieceState
from tests.app.floor_worlds import NOW

BARS = [f"L05-{n:02d}" for n in range(1, 7)]


def limit(store, plan, least=8.0):
    specimens.enter_limit(store, plan, material="PA12", quantity="elongation at break", least=least, unit="%",
                          by="Ada", at=NOW)  # fmt: skip


def enter_bars(store, plan, values, at=NOW):
    for bar, value in zip(BARS, values, strict=False):
        specimens.enter_value(store, plan, plan.build("B1"), piece=bar, quantity="Elongation at break", value=value,
                              standard="ISO 527", by="Jon", at=at)  # fmt: skip


def found_all(store, plan, line):
    for p in plan.build("B1").pieces_of(line):
        store.record_piece(plan=1, build="B1", piece=p.piece, state=PieceState.FOUND, by="Jon", at=NOW)


def test_places_and_the_bench_day_come_from_the_nest_and_the_plan(plan):
    """Six clips stand at 110 mm of 135: high, pulled along Z; the plan tests them after break-out."""
    places = specimen_places(plan, plan.build("B1"))
    assert [p.piece for p in places] == BARS
    assert places_words(places) == "6 high; lying along Z"
    assert places[0].middle_mm == pytest.approx((23, 42, 121))
    test, result = bench_day(plan, "B1")
    assert result - test == timedelta(hours=10.5)
    assert specimen_places(plan, plan.build("B2")) == ()


def test_a_line_is_held_until_its_bars_are_tested_and_passed(store, plan):
    """No limit, too few bars, then three good ones: each time the reason is the next thing to do."""
    gate = hold_lines.line_gate(store, plan, 1)
    assert gate.is_held
    assert "no limit is entered for specimens of PA12" in gate.why
    limit(store, plan)
    assert "0 of 3 bars tested" in hold_lines.line_gate(store, plan, 1).why
    enter_bars(store, plan, [12.0, 11.0])
    assert "2 of 3 bars tested" in hold_lines.line_gate(store, plan, 1).why
    enter_bars(store, plan, [12.0, 11.0, 9.5])
    assert hold_lines.line_gate(store, plan, 1).state is hold_lines.Gate.OPEN
    assert hold_lines.line_gate(store, plan, 5).state is hold_lines.Gate.OPEN  # draft: asks for none


def test_a_bar_below_the_limit_holds_every_line_of_the_build(store, plan):
    """Also the draft line that asked for no test: a failed build is not shipped by a side door."""
    limit(store, plan)
    enter_bars(store, plan, [12.0, 7.0, 9.5])
    held = hold_lines.gates(store, plan)
    assert all(held[n].is_held for n in (1, 2, 3, 5))
    assert "elongation at break 7 % in 1 of 3 (limit 8)" in held[1].why
    assert "no specimens stand in this build" in held[4].why


def test_packing_is_refused_with_the_reason_by_page_and_by_note(store, plan):
    """Neither a carton nor the end of packing is kept while the line is held."""
    found_all(store, plan, 1)
    with pytest.raises(InputError, match="L01 is held: B1: no limit is entered"):
        pack(store, plan, 1, pieces=4, carton="1", by="Jon", at=NOW)
    with pytest.raises(InputError, match="L01 is held"):
        note_task(store, plan, kind=TaskKind.PACK, line=1, ended=NOW, at=NOW, by="Jon")
    assert store.schedule.progress_of(1) == ()


def test_an_authorised_person_lets_it_go_with_a_reason(store, plan):
    """Without a reason or without authority it stays; later reasons hold it again."""
    authority.grant(store, plan, person="Ada", step="release-parts", until="", note="", by="Mira", at=NOW)
    with pytest.raises(InputError, match="no reason"):
        hold_lines.release_line(store, plan, 1, reason=" ", by="Ada", at=NOW)
    with pytest.raises(InputError, match="Jon is not entered for 'release held parts'; entered: Ada"):
        hold_lines.release_line(store, plan, 1, reason="hurry", by="Jon", at=NOW)
    hold_lines.release_line(store, plan, 1, reason="concession 7 of Team & Co", by="Ada", at=NOW)
    gate = hold_lines.line_gate(store, plan, 1)
    assert gate.state is hold_lines.Gate.RELEASED
    assert gate.holds[0].release.by == "Ada"
    with pytest.raises(InputError, match="not held"):
        hold_lines.release_line(store, plan, 1, reason="again", by="Ada", at=NOW)
    limit(store, plan)
    enter_bars(store, plan, [2.0, 2.0, 2.0])
    assert hold_lines.line_gate(store, plan, 1).is_held


def test_packing_counts_good_pieces_and_ends_by_itself(store, plan):
    """Four found: three and one in two cartons; the last one notes the end of packing; a wrong mass is refused."""
    limit(store, plan)
    enter_bars(store, plan, [12.0, 11.0, 9.5])
    with pytest.raises(InputError, match="0 are found"):
        pack(store, plan, 1, pieces=1, carton="1", by="Jon", at=NOW)
    found_all(store, plan, 1)
    with pytest.raises(InputError, match="that looks like 3"):
        pack(store, plan, 1, pieces=4, carton="1", mass_g=3 * 18.24, by="Jon", at=NOW)
    pack(store, plan, 1, pieces=3, carton="1", mass_g=3 * 18.24, by="Jon", at=NOW, uid="tablet-a-1")
    pack(store, plan, 1, pieces=3, carton="1", mass_g=3 * 18.24, by="Jon", at=NOW, uid="tablet-a-1")
    (row,) = packing_of_order(store, plan, plan.line(1).order)
    assert (row.packed, row.ready, row.short) == (3, 1, 0)
    assert store.schedule.progress_of(1) == ()
    pack(store, plan, 1, pieces=1, carton="2", by="Jon", at=NOW)
    assert store.schedule.progress_of(1)[-1].kind is TaskKind.PACK
    with pytest.raises(InputError, match="no order"):
        packing_of_order(store, plan, "nobody's")


def test_what_is_entered_wrongly_is_refused(store, plan):
    """A piece that is no bar, another unit, a limit of nothing, a strange material."""
    limit(store, plan)
    build = plan.build("B1")
    with pytest.raises(InputError, match="no specimen 'L01-01'"):
        specimens.enter_value(store, plan, build, piece="L01-01", quantity="x", value=1, by="Jon", at=NOW)
    with pytest.raises(InputError, match="its limit is in %"):
        specimens.enter_value(store, plan, build, piece=BARS[0], quantity="elongation at break", value=1, unit="mm",
                              by="Jon", at=NOW)  # fmt: skip
    with pytest.raises(InputError, match="no material"):
        specimens.enter_limit(store, plan, material="gold", quantity="x", least=1, unit="%", by="Ada", at=NOW)
    with pytest.raises(InputError, match="above zero"):
        limit(store, plan, least=0)


def test_the_last_word_about_a_bar_counts(store, plan):
    """A bar tested again after it slipped in the grips: the new value decides."""
    limit(store, plan)
    enter_bars(store, plan, [2.0, 11.0, 9.5])
    assert hold_lines.line_gate(store, plan, 1).is_held
    enter_bars(store, plan, [12.0], at=NOW + timedelta(hours=1))
    assert specimens.specimen_set(store, plan, plan.build("B1")).is_passed
