"""One of several programs that write to the same database at once; says what was acknowledged and what refused."""

import json
import random
import sys
from datetime import UTC, datetime, timedelta

from cakewright.app.powder_deeds import move
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.offer import OfferState
from cakewright.store import open_store
from tests.documents.world import week

address, me, deeds = sys.argv[1], sys.argv[2], int(sys.argv[3])
NOON = datetime(2027, 3, 1, 12, tzinfo=UTC)
dice = random.Random(me)
said = {"moved_g": 0, "refused": 0, "uids": [], "plans": [], "accepted": [], "changes": 0}

with open_store(address) as store:
    for n in range(deeds):
        at = NOON + timedelta(minutes=n)
        grams = dice.randrange(200, 900)
        try:
            move(store, "V01", "U01", grams / 1000, at=at, by=me)
            said["moved_g"] += grams
        except InputError:
            said["refused"] += 1
        common = f"both-saw-{n:04d}"  # the same tablet's note, delivered through two servers
        records = [FloorRecord(uid=uid, plan=1, kind=FloorKind.NOTE, by="Jon", at=at, build="B1")
                   for uid in (f"{me}-{n:06d}", common)]  # fmt: skip
        kept = store.floor.add(records, kept_at=NOON)
        said["uids"] += [r.uid for r in kept]
        store.accounts.note_change(account_name=me, deed=f"POST /{n}", outcome=200, at=at)
        said["changes"] += 1
        try:
            store.step_offer(n + 1, OfferState.ACCEPTED, at=at, by=me)
            said["accepted"].append(n + 1)
        except InputError:
            said["refused"] += 1
        if n % 4 == 0:
            said["plans"].append(store.save_plan(week(), made_by=me, at=at))
print(json.dumps(said))
