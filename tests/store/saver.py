"""Saves one plan after another until somebody kills it; says each version that was acknowledged."""

import sys
from dataclasses import replace
from datetime import UTC, datetime

from cakewright.store import open_store
from tests.documents.world import week

with open_store(sys.argv[1]) as store:
    print("open", flush=True)
    for seed in range(1, 1000):
        version = store.save_plan(replace(week(), seed=seed), made_by="saver", at=datetime.now(UTC))
        print(version, flush=True)
