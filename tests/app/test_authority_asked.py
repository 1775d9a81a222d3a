"""Every step of the matrix asks for its authority: the refusal names who may, and nothing is kept."""

from __future__ import annotations

import ast
from datetime import timedelta
from pathlib import Path

import pytest

import cakewright.app
from cakewright.app import powder_deeds, run_build
from cakewright.app.authority import ENTERED, Step, grant, why_not
from cakewright.app.count_line import Counted, keep_count
from cakewright.app.finish_baskets import end_basket, start_basket
from cakewright.app.gauges import enter_gauge
from cakewright.app.inspect_line import record_reading
from cakewright.app.powder_blend import Weighing, weigh_blend
from cakewright.app.powder_books import look
from cakewright.app.powder_build import Fraction, book_back, charge_build
from cakewright.app.powder_change import begin_change
from cakewright.app.recover import accept_recovery
from cakewright.app.unpack_build import say_pieces
from cakewright.errors import InputError
from cakewright.store import PieceState
from tests.app.floor_worlds import NOW

JON = {"by": "Jon", "at": NOW}
FAR = NOW + timedelta(days=400)


@pytest.fixture
def store(store, plan):
    """Ada is trained for everything until long after, and nobody else is."""
    for step in Step:
        grant(store, plan, person="Ada", step=step.value, until=FAR.date().isoformat(), note="", by="Mira", at=NOW)
    return store


DEEDS = {
    "blend": (Step.BLEND, lambda s, p: weigh_blend(s, p, "B1", [Weighing("x", 1, 1)], **JON)),
    "charge": (Step.BLEND, lambda s, p: charge_build(s, p, "B1", "x", **JON)),
    "pour": (Step.BLEND, lambda s, p: powder_deeds.move(s, "a", "b", 1.0, **JON)),
    "weigh in": (Step.BLEND, lambda s, p: powder_deeds.weigh_in(s, "a", 1.0, reason="x", **JON)),
    "discard": (Step.BLEND, lambda s, p: powder_deeds.discard(s, "a", 1.0, reason="x", **JON)),
    "open a drum": (Step.BLEND, lambda s, p: powder_deeds.open_drum(
        s, "a", powder_c=20, room_c=20, relative_humidity=0.4, **JON)),
    "sieve": (Step.UNPACK, lambda s, p: powder_deeds.sieve(s, "a", through_kg=1, oversize_kg=0, **JON)),
    "break out": (Step.UNPACK, lambda s, p: book_back(s, p, "B1", {Fraction.CAKE: [1.0]}, **JON)),
    "unpack": (Step.UNPACK, lambda s, p: say_pieces(s, p, p.build("B1"), ["L01-01"], PieceState.FOUND, **JON)),
    "basket in": (Step.FINISH, lambda s, p: start_basket(s, p, "x", [1], station="cabinet", **JON)),
    "basket out": (Step.FINISH, lambda s, p: end_basket(s, p, "x", **JON)),
    "stop": (Step.STOP, lambda s, p: accept_recovery(s, p, None, "x", effort=None, **JON)),
    "end": (Step.START, lambda s, p: run_build.end(s, p, p.build("B1"), **JON)),
    "measure": (Step.INSPECT, lambda s, p: record_reading(
        s, p, 1, piece="L01-01", name="width", value=60, low=59, high=61, gauge="", **JON)),
    "gauge": (Step.INSPECT, lambda s, p: enter_gauge(s, p, name="c", what="w", due="", share_percent=None, **JON)),
    "count": (Step.PACK, lambda s, p: keep_count(s, p, 1, Counted(4, 4.0, 100, 0.1), **JON)),
    "change the powder": (Step.SERVICE, lambda s, p: begin_change(s, p.cell, "A1", "PA12", **JON)),
}  # fmt: skip


@pytest.mark.parametrize("deed", DEEDS)
def test_a_deed_by_somebody_else_is_refused_with_who_may(store, plan, deed):
    """Before anything else is looked at; the records and the books stay as they were."""
    step, do = DEEDS[deed]
    before = store.floor.records(), look(store).ledger.entries
    with pytest.raises(InputError, match=f"Jon is not entered for '{step}'; entered: Ada"):
        do(store, plan)
    assert (store.floor.records(), look(store).ledger.entries) == before
    assert store.piece_records(1, "B1") == ()


def test_every_step_is_asked_somewhere():
    """No row of the matrix is there to be looked at only."""
    asked = set()
    for path in Path(cakewright.app.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "require":
                asked |= {a.attr for a in node.args if isinstance(a, ast.Attribute)}
    assert asked >= {step.name for step in Step}


def test_a_shared_tablet_counts_for_hands_and_not_for_signatures(store, plan):
    """Ada's name typed where Jon is logged in: she may unpack, but to release she signs herself."""
    typed = f"Ada{ENTERED}Jon"
    assert why_not(store, typed, Step.UNPACK, NOW.date()) == ""
    assert "Ada signs with the own password" in why_not(store, typed, Step.RELEASE_BUILD, NOW.date())
    assert "Dev is not entered" in why_not(store, f"Dev{ENTERED}Ada", Step.UNPACK, NOW.date())
