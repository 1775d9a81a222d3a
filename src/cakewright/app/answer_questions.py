"""Questions that were asked on a page or by a script: kept, answered by a worker, accepted later or never.

A question and its answer lie in a folder of their own beside the database, so a restart loses neither.
"""

from __future__ import annotations

import re
import secrets
import shutil
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import cast

from cakewright.app.authority import Step, require
from cakewright.app.effort import effort_in_seconds
from cakewright.app.failure_desk import FailureDesk
from cakewright.app.inbox import Incoming
from cakewright.app.kept_answers import keep_answer, read_answer
from cakewright.app.move_task import MoveProposal, accept_move, check_move
from cakewright.app.progress import Progress
from cakewright.app.questions import Answer, NewRevision, Question
from cakewright.app.recover import accept_recovery, way_of
from cakewright.app.replan import Replanned, accept
from cakewright.app.short_work import Made
from cakewright.errors import InputError
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

FOLDER = "answers"
MOST = 200  # answers that are kept: the newest
_QUESTION, _ANSWER = "question", "answer"
_WORD = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about a plan, the `page` that shows its answer, and the fields of its form as they were filled in."""

    plan: int
    page: str
    question: Question | None
    by: str = ""
    form: tuple[tuple[str, str], ...] = ()


def keep_question(store: Store, asked: Asked, content: Iterable[bytes] = ()) -> str:
    """Keep a question, with the file that belongs to it; the word under which it and its answer are found."""
    word = secrets.token_hex(8)
    folder = store.folder / FOLDER / word
    folder.mkdir(parents=True)
    try:
        if isinstance(asked.question, NewRevision):
            Incoming(folder / asked.question.file, asked.question.file).all(content)
        keep_answer(folder / _QUESTION, asked)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    _sweep(folder.parent)
    return word


def keep_proposal(store: Store, plan: WeekPlan, page: str, proposal: MoveProposal) -> str:
    """Keep the answer to a move that was judged at once; the word under which it can be accepted."""
    word = keep_question(store, Asked(plan.version, page, None))
    keep_answer(store.folder / FOLDER / word / _ANSWER, proposal, plan)
    return word


def question_of(store: Store, word: str) -> Asked:
    """What was asked; InputError when it is not kept any more."""
    return cast(Asked, read_answer(_folder(store, word) / _QUESTION))


def answer_of(store: Store, word: str, plan: WeekPlan) -> Answer | MoveProposal | None:
    """The answer to a question about this plan; None while there is none."""
    place = _folder(store, word) / _ANSWER
    if question_of(store, word).plan != plan.version:
        raise InputError("this answer is of another plan", remedy="ask again, then accept", where="draft")
    return cast(Answer, read_answer(place, plan)) if place.exists() else None


def answer_question(report: Progress, database: str, word: str) -> Made:
    """What a worker does: answer a question and keep the answer; the page that shows it."""
    from cakewright.store import open_store

    with open_store(database) as store:
        asked = question_of(store, word)
        if asked.question is None:
            raise InputError("there is no question to answer", remedy="ask again")
        report("reading the plan", 0, 1)
        plan, folder = store.load_plan(asked.plan), _folder(store, word)
        answer = asked.question.answer(store, plan, folder, report)
        keep_answer(folder / _ANSWER, answer, plan)
        return Made(page_of(asked.page, word))


def page_of(page: str, word: str) -> str:
    """The page that shows an answer, without the first stroke."""
    return f"{page}?answer={word}"


def word_in(folder: str) -> str:
    """The word in the place of a job, '' when it is of no question."""
    return folder.partition("?answer=")[2]


def check_acceptable(store: Store, answer: object, way: str, by: str, at: datetime) -> None:
    """InputError when this answer cannot be accepted so: said before anybody waits."""
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who decides", where="by")
    if isinstance(answer, FailureDesk):
        require(store, by, Step.STOP, at.date())
        way_of(answer, way)
    elif isinstance(answer, MoveProposal):
        check_move(store, answer)
    elif not isinstance(answer, Replanned):
        raise InputError("there is nothing to keep in this answer", remedy="ask again, then accept", where="draft")


def accept_answer(
    report: Progress, database: str, word: str, way: str, by: str, note: str, at: datetime
) -> Made:  # fmt: skip
    """What a worker does: keep the plan of an answer as it was shown; the new version. The answer is then used up."""
    from cakewright.store import open_store

    with open_store(database) as store:
        version = question_of(store, word).plan
        report("reading the plan", 0, 1)
        plan = store.load_plan(version)
        answer = answer_of(store, word, plan)
        check_acceptable(store, answer, way, by, at)
        place = ""
        if isinstance(answer, FailureDesk):
            effort = effort_in_seconds(plan.cell.nesting.seconds_per_build, time.monotonic)
            new = accept_recovery(store, plan, answer, way, effort=effort, by=by, at=at, note=note, told=report).plan
        elif isinstance(answer, MoveProposal):
            report("simulating the dates", 0, 1)
            new = accept_move(store, answer, by=by, at=at)
            place = f"/calendar?moved={version}"
        else:
            report("simulating the dates", 0, 1)
            new = accept(store, cast(Replanned, answer), by=by, at=at)
        shutil.rmtree(_folder(store, word), ignore_errors=True)
        return Made(f"plans/{new}{place}", new)


def _folder(store: Store, word: str) -> Path:
    if not _WORD.fullmatch(word):
        raise InputError("this answer is no longer at hand", remedy="ask again, then accept", where="draft")
    return store.folder / FOLDER / word


def _sweep(folder: Path) -> None:
    """Forget the oldest answers when there are too many."""
    kept = sorted((p for p in folder.iterdir() if p.is_dir()), key=lambda p: p.stat().st_mtime, reverse=True)
    for old in kept[MOST:]:
        shutil.rmtree(old, ignore_errors=True)
