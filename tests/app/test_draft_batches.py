"""Quick nests for choosing batches: the same with any number of workers, and each set of pieces made once."""

from __future__ import annotations

from cakewright.app import draft_batches
from cakewright.app.draft_batches import Drafts
from cakewright.app.plan_build import Batch
from tests.app.test_nest_builds import nester_of


def drafts_of(nester, workers):
    return Drafts(nester.cell, nester.parts, nester.rotations, nester.seed, nester.cages, workers)


def places(drafts):
    return [[(p.piece, p.translation.tolist()) for p in d.nest.placements] for d in drafts]


def test_workers_change_nothing(tmp_path):
    """One line in a cage, so that the cages made for trial show too: none is left behind."""
    nester, batch = nester_of(tmp_path, [("brick", 5, ""), ("cube", 8, "cage")])
    some = Batch("B1", batch.machine, batch.pieces, "", (), frozenset({2}))
    batches = [some, Batch("B2", batch.machine, batch.pieces[:5], "", ())]
    alone, beside = drafts_of(nester, 1).of(batches), drafts_of(nester, 2).of(batches)
    assert places(alone) == places(beside)
    assert [d.cooling.opening_s for d in alone] == [d.cooling.opening_s for d in beside]
    assert alone[0].pieces == 13
    assert any(p.is_cage for p in alone[0].nest.placements)
    assert not nester.cages.parts


def test_the_same_pieces_are_nested_once(tmp_path, monkeypatch):
    nester, batch = nester_of(tmp_path, [("brick", 3, "")])
    made = []
    real = draft_batches.draft_of
    monkeypatch.setattr(draft_batches, "draft_of", lambda *asked: made.append(asked[0].key) or real(*asked))
    drafts = drafts_of(nester, 1)
    drafts.of([batch])
    again = drafts.of([Batch("B7", batch.machine, batch.pieces[::-1], "", ()), batch])
    assert made == ["B1"]
    assert [d.key for d in again] == ["B7", "B1"]
