"""Several programs write at once: nothing acknowledged is lost, nothing done twice, nothing below zero."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter

import pytest

from cakewright.app.powder_deeds import make_can, receive_lot
from cakewright.errors import BusyError
from cakewright.model.offer import OfferState
from cakewright.store import open_store
from cakewright.store.engine import patiently
from tests.conftest import ROOT
from tests.documents.world import week
from tests.store.conftest import NOON
from tests.web.conftest import offer

WRITERS, DEEDS, DRUM_KG = 3, 6, 5


@pytest.fixture
def shared(new_database):
    """a drum of 5 kg, an empty can, a plan, six quotes that wait for an answer."""
    with open_store(new_database) as store:
        store.save_plan(week(), made_by="Mira", at=NOON)
        receive_lot(store, material="PA12", supplier_lot="V-1", drums_kg=[DRUM_KG], certificate="c", at=NOON, by="Mira")
        make_can(store, material="PA12", at=NOON, by="Mira")
        for _ in range(DEEDS):
            store.save_offer(offer(), at=NOON, by="Mira")
        yield store


def test_three_programs_at_once(shared):
    """Each books powder, notes, saves plans, answers the same quotes: every yes counts once, the books close."""
    command = [sys.executable, "-m", "tests.store.writer", shared.address]
    programs = [subprocess.Popen([*command, f"writer-{n}", str(DEEDS)], cwd=ROOT, stdout=subprocess.PIPE, text=True)
                for n in range(WRITERS)]  # fmt: skip
    said = [json.loads(program.communicate(timeout=240)[0]) for program in programs]
    assert [program.returncode for program in programs] == [0] * WRITERS
    moved = sum(s["moved_g"] for s in said)
    levels = shared.powder.levels()
    assert (levels["V01"], levels["U01"]) == (DRUM_KG * 1000 - moved, moved)
    assert levels["V01"] >= 0 and shared.powder.read().ledger.grams() == levels
    assert sum(s["refused"] for s in said) >= DEEDS * (WRITERS - 1), "the drum ran dry and quotes were taken, or not?"
    kept = Counter(r.uid for r in shared.floor.records())
    assert set(kept) == {uid for s in said for uid in s["uids"]} and set(kept.values()) == {1}
    plans = [version for s in said for version in s["plans"]]
    assert len(set(plans)) == len(plans) and {p.version for p in shared.plans()} == {1, *plans}
    accepted = Counter(n for s in said for n in s["accepted"])
    assert accepted == Counter(range(1, DEEDS + 1))
    assert {k.state for k in shared.offers()} == {OfferState.ACCEPTED}
    assert shared.accounts.verify_changes()[0] == sum(s["changes"] for s in said)


def test_a_deed_is_done_again_while_others_write():
    """Twice in the way, then free; and given up with the same words when it stays so."""
    tries = []

    def deed():
        tries.append(1)
        if len(tries) < 3:
            raise BusyError("another program is writing to the database")
        return "kept"

    assert patiently(deed) == "kept" and len(tries) == 3
    with pytest.raises(BusyError):
        patiently(lambda: (_ for _ in ()).throw(BusyError("still writing")), tries=2)
