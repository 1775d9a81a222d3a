"""What a customer answered to a doubt about their part: kept with the order, seen in every later plan of it."""

from __future__ import annotations

from datetime import datetime

from cakewright.app.floor_note import keep
from cakewright.errors import InputError
from cakewright.findings import Finding
from cakewright.model.floor import FloorKind, FloorRecord
from cakewright.model.order import OrderLine
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

LONGEST = 500


def keep_answer(
    store: Store, plan: WeekPlan, line: OrderLine, doubt: Finding, answer: str, *, said_by: str, by: str, at: datetime,
    uid: str = "", kept_at: datetime | None = None,
) -> FloorRecord:  # fmt: skip
    """Keep what `said_by`, at the customer, answered to a doubt; `by` wrote it down. InputError for an empty answer."""
    if not answer.strip() or len(answer) > LONGEST:
        raise InputError(f"the answer has {len(answer.strip())} characters", where="answer",
                         remedy=f"write what the customer said, in at most {LONGEST} characters")  # fmt: skip
    data = {"order": line.order, "part": line.part, "revision": line.revision, "doubt": doubt.message,
            "code": doubt.code, "answer": answer.strip(), "said_by": said_by.strip()}  # fmt: skip
    return keep(store, plan, FloorKind.ANSWER, data, by=by, at=at, line=line.line, uid=uid, kept_at=kept_at)


def answers_of(store: Store, line: OrderLine) -> tuple[FloorRecord, ...]:
    """Every answer kept with the order of a line for its part and revision, whichever plan was looked at; newest first.

    An answer to one revision says nothing about the next.
    """
    mine = (line.order, line.part, line.revision)
    kept = store.floor.records(kind=FloorKind.ANSWER)
    return tuple(r for r in reversed(kept) if (r.data["order"], r.data["part"], r.data["revision"]) == mine)
