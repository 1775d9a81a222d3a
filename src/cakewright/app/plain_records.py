"""Records that a script or a tablet may append as they are: notes, moves, counts, values; no deed with a gate."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.errors import InputError
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.store import Store

_STEP: dict[FloorKind, Step | None] = {  # kinds that may come as they are, and the step whose authority they ask for
    FloorKind.NOTE: None,
    FloorKind.MOVE: None,
    FloorKind.IDENTIFIED: None,
    FloorKind.COUNTED: None,
    FloorKind.MEASURED: Step.INSPECT,
}


def append_records(store: Store, records: Sequence[FloorRecord], *, kept_at: datetime) -> tuple[FloorRecord, ...]:
    """Keep records, all or none; one whose `uid` is known is kept once.

    InputError for a kind that has a gate of its own (release, label, start, training, decision ...): those are said on
    their page, where the gate is asked; and for a value by somebody without the authority to inspect.
    """
    for record in records:
        if record.kind not in _STEP:
            known = ", ".join(kind.value for kind in _STEP)
            raise InputError(
                f"a record of kind {record.kind.value!r} is not taken as it is: it has to pass its gate",
                remedy=f"use its page; as they are come: {known}", where=record.uid[:64],
            )  # fmt: skip
        step = _STEP[record.kind]
        if step is not None:
            require(store, record.by, step, record.at.date())
    return store.floor.add(records, kept_at=kept_at)
