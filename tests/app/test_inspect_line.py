"""Samples over the height, verdicts, charts over plans, and containment, on the small invented week."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from cakewright.app import contain
from cakewright.app.inspect_line import record_reading, sample_of, verdict_of, watched
from cakewright.app.remake import remakes
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import open_store
from tests.documents.world import START, week


@pytest.fixture
def store(new_database):
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=START)
        yield store


@pytest.fixture
def plan():
    return replace(week(), version=1)


@pytest.fixture
def line(plan):
    """The line with most pieces."""
    return max(plan.builds[0].lines, key=lambda n: len(plan.builds[0].pieces_of(n)))


def measure(store, plan, line, piece, value, *, minute=0, low=9.9, high=10.1):
    return record_reading(store, plan, line, piece=piece, name="width", value=value, low=low, high=high,
                          gauge="callipers 3", by="Jon", at=START + timedelta(minutes=minute))  # fmt: skip


def test_a_small_lot_is_measured_whole_and_a_bad_piece_rejects_it(store, plan, line):
    """Open while pieces are missing, accept when all are good, reject with one bad (zero acceptance)."""
    sample = sample_of(plan, line)
    assert verdict_of(store, plan, line).word == "open"
    for n, piece in enumerate(sample.pieces):
        measure(store, plan, line, piece, 10.0, minute=n)
    assert verdict_of(store, plan, line).word == "accept"
    measure(store, plan, line, sample.pieces[0], 10.2, minute=99)
    verdict = verdict_of(store, plan, line)
    assert verdict.word == "reject"
    assert verdict.bad_pieces == (sample.pieces[0],)


def test_the_class_of_a_line_says_how_it_is_sampled(plan, line):
    """A sharper bad share inspects more, an AQL takes the plan of the standard; the page may ask otherwise."""
    lot = 500
    big = replace(plan.builds[0].pieces_of(line)[0], piece="x")
    many = tuple(replace(big, piece=f"L{line:02d}-{n}", translation=np.array([0, 0, n / 10.0])) for n in range(lot))
    nest = replace(plan.builds[0].nest, placements=many)
    wide = replace(plan, builds=(replace(plan.builds[0], nest=nest),))

    def asked(aql_here=None, **care):
        classes = tuple(replace(c, **care) for c in wide.cell.classes)
        return sample_of(replace(wide, cell=replace(wide.cell, classes=classes)), line, aql=aql_here)

    assert len(asked().pieces) < len(asked(bad_share=0.02).pieces)
    assert "finds 2% bad" in asked(bad_share=0.02).rule
    standard = asked(aql=1.0)  # 281 to 500 pieces, level II: code H, 50 pieces, accept 1
    assert (len(standard.pieces), standard.accept) == (50, 1)
    assert standard.rule == "ISO 2859-1 single, level II, AQL 1 %, code H"
    assert asked(0, aql=1.0).rule.startswith("zero acceptance")


def test_limits_and_pieces_are_checked(store, plan, line):
    """A strange piece, limits the wrong way round, no name: refused, nothing kept. A value on its limit is good."""
    piece = sample_of(plan, line).pieces[0]
    with pytest.raises(InputError, match="no piece"):
        measure(store, plan, line, "L99-01", 10.0)
    with pytest.raises(InputError, match="limits 11 to 9"):
        measure(store, plan, line, piece, 10.0, low=11, high=9)
    assert store.floor.records(kind=FloorKind.MEASURED) == ()
    measure(store, plan, line, piece, 10.1)
    assert verdict_of(store, plan, line).bad_pieces == ()


def test_drift_is_seen_over_time(store, plan, line):
    """Nine steady values give no signal; a jump of ten sigmas is beyond the limit and leads the list of charts."""
    piece = sample_of(plan, line).pieces[0]
    for n, value in enumerate([10.00, 10.01, 9.99, 10.0, 10.01, 9.99, 10.0, 10.01, 9.99]):
        measure(store, plan, line, piece, value, minute=n)
    (steady,) = watched(store)
    assert steady.signals == ()
    measure(store, plan, line, piece, 10.2, minute=50)
    (jumped,) = watched(store)
    assert jumped.signals[-1].rule == "beyond the limit"
    assert jumped.signals[-1].index == 9
    assert jumped.capability is None  # ten values are too few


def test_capability_needs_twenty_values(store, plan, line):
    """Twenty values between wide limits: Cpk above one, within its own interval."""
    piece = sample_of(plan, line).pieces[0]
    for n in range(20):
        measure(store, plan, line, piece, 10.0 + 0.01 * (-1) ** n, minute=n)
    (seen,) = watched(store)
    assert seen.capability is not None
    assert seen.cpk_range[0] < seen.capability.cpk < seen.cpk_range[1]


def test_what_shares_something_is_held(store, plan):
    """Same build at least, same layers where they overlap, and lines of the same basket in other builds."""
    build = plan.builds[0]
    flawed = build.nest.placements[0]
    other = plan.builds[1].nest.placements[0]
    basket = FloorRecord("basket-0001", 1, FloorKind.BASKET, "Jon", START, build.key,
                         data={"lines": f"{flawed.line} {other.line}", "finish": "blast"})  # fmt: skip
    store.floor.add([basket], kept_at=START)
    found = {s.piece: s for s in contain.suspects(store, plan, flawed.piece)}
    assert flawed.piece not in found
    assert all("same build" in found[p.piece].why for p in build.nest.placements[1:])
    assert found[other.piece].why == ("same basket",)
    apart = [p for p in build.nest.placements if p.z_min_mm > flawed.z_max_mm + 5]
    assert all("same layers" not in found[p.piece].why for p in apart)


def test_a_decision_is_made_once_and_remakes_are_counted(store, plan):
    """Kept, decided once, never twice; a rejected piece is to be made again with the date of its line."""
    piece = plan.builds[0].nest.placements[0]
    kept = contain.report_mistake(store, plan, piece.piece, what="a crack", cause="", by="Jon", at=START)
    assert remakes(store, plan) == ()
    with pytest.raises(InputError, match="no decision"):
        contain.decide(store, plan, kept.number, "burn it", by="Ada", at=START)
    with pytest.raises(InputError, match="no cause is named"):
        contain.decide(store, plan, kept.number, "reject and remake", by="Ada", at=START)
    contain.decide(store, plan, kept.number, "reject and remake", by="Ada", at=START, cause="cold bed")
    with pytest.raises(InputError, match="decided by Ada"):
        contain.decide(store, plan, kept.number, "accept", by="Jon", at=START)
    assert contain.causes(contain.mistakes(store, plan)) == (("cold bed", 1),)
    assert [(r.line, r.pieces) for r in remakes(store, plan)] == [(piece.line, 1)]
    with pytest.raises(InputError, match="nothing is said"):
        contain.report_mistake(store, plan, piece.piece, what=" ", cause="", by="Jon", at=START)
