"""Say what became of pieces while a cake is taken apart: found, missing, broken."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.store import PieceState, Store


def say_pieces(
    store: Store, plan: WeekPlan, build: Build, pieces: Sequence[str], state: PieceState, *, by: str, at: datetime,
    note: str = "",
) -> tuple[int, ...]:  # fmt: skip
    """Keep a word about each piece; the numbers of the records. The last word counts, nothing is replaced.

    InputError for a piece that the build does not hold, without a name, and for somebody not trained to unpack.
    """
    require(store, by, Step.UNPACK, at.date())
    return tuple(
        store.record_piece(plan=plan.version, build=build.key, piece=piece, state=state, by=by, at=at, note=note)
        for piece in pieces
    )
