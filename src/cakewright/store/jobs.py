"""Jobs as rows: what was asked, how far it came, how it ended. The work itself is done by `cakewright.app.jobs`."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection, Engine, and_, func, insert, select, update

from cakewright.errors import StoreError
from cakewright.store import schema

JOB_LOCKS = 0x63616B66  # the first half of the number of the lock of a job in hand; the second is the job's


class JobState(StrEnum):
    """Where a job is. The last four are final."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"
    INTERRUPTED = "interrupted"

    @property
    def is_final(self) -> bool:
        """True when nothing more will happen."""
        return self not in (JobState.WAITING, JobState.RUNNING)


@dataclass(frozen=True, slots=True)
class Job:
    """One piece of long work. `done` of `total` of `stage`; `found` and `remedy` when it failed; `plan` its result."""

    number: int
    kind: str
    state: JobState
    by: str
    folder: str
    asked_at: datetime
    ended_at: datetime | None = None
    stage: str = ""
    note: str = ""
    found: str = ""
    remedy: str = ""
    done: int = 0
    total: int = 0
    plan: int | None = None


def add_job(link: Connection, *, kind: str, by: str, folder: str, at: datetime) -> int:
    """A new job, waiting; its number."""
    row = {
        "kind": kind, "state": JobState.WAITING.value, "by": by, "folder": folder, "asked_at": at, "ended_at": None,
        "stage": "", "note": "", "found": "", "remedy": "", "done": 0, "total": 0, "plan": None,
    }  # fmt: skip
    number = link.scalar(insert(schema.job).returning(schema.job.c.number), row)
    if number is None:
        raise StoreError("the job was not kept", remedy="do it again")
    return int(number)


def change_job(link: Connection, number: int, **values: Any) -> None:
    """Write how far a job is; one that has ended stays as it ended."""
    still = schema.job.c.state.in_([JobState.WAITING.value, JobState.RUNNING.value])
    link.execute(update(schema.job).where((schema.job.c.number == number) & still).values(**values))


def jobs_of(link: Connection) -> tuple[Job, ...]:
    """Every job, newest first."""
    rows = link.execute(select(schema.job).order_by(schema.job.c.number.desc())).mappings()
    return tuple(Job(**{**row, "state": JobState(row["state"])}) for row in rows)


def job_of(link: Connection, number: int) -> Job:
    """One job; StoreError when there is none."""
    row = link.execute(select(schema.job).where(schema.job.c.number == number)).mappings().one_or_none()
    if row is None:
        raise StoreError(f"there is no job {number}", remedy="choose one from the list of jobs")
    return Job(**{**row, "state": JobState(row["state"])})


def interrupt_jobs(link: Connection, at: datetime) -> int:
    """Mark what was running or waiting when the program ended as interrupted; how many there were.

    On a server only what no living program has in hand (`holding`).
    """
    still = schema.job.c.state.in_([JobState.WAITING.value, JobState.RUNNING.value])
    text = {
        "found": "the program ended while this was under way; no plan was made",
        "remedy": "start it again: the files are kept",
    }
    ours = and_(still)
    if link.dialect.name == "postgresql":  # other servers may be at work on the same database
        open_ = link.scalars(select(schema.job.c.number).where(still)).all()
        left = [number for number in open_ if link.scalar(func.pg_try_advisory_xact_lock(JOB_LOCKS, number))]
        ours = and_(still, schema.job.c.number.in_(left))
    changed = update(schema.job).where(ours).values(state=JobState.INTERRUPTED.value, ended_at=at, **text)
    return link.execute(changed).rowcount


@contextmanager
def holding(engine: Engine, number: int) -> Iterator[None]:
    """Have a job in hand: on a server nobody else calls it interrupted until this ends or this program dies."""
    if engine.dialect.name != "postgresql":
        yield
        return
    with engine.connect() as link:
        link.execute(select(func.pg_advisory_lock(JOB_LOCKS, number)))
        link.commit()
        try:
            yield
        finally:
            link.execute(select(func.pg_advisory_unlock(JOB_LOCKS, number)))
            link.commit()
