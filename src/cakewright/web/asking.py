"""Questions of a running week on pages and in the interface: asked as a job, shown when the answer is there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from cakewright.app.answer_questions import Asked, answer_of, question_of
from cakewright.app.jobs import JobDesk
from cakewright.app.move_task import MoveProposal
from cakewright.app.questions import Answer, Question
from cakewright.errors import InputError
from cakewright.model.plan import WeekPlan
from cakewright.store import Job
from cakewright.web.acting import acting_name
from cakewright.web.shelf import Shelf


@dataclass(frozen=True, slots=True)
class Seen:
    """What a page of a question shows: the word of the answer, the fields as they were filled in, the answer.

    `is_gone` is True when a word was given under which nothing is kept any more.
    """

    word: str = ""
    form: dict[str, str] | None = None
    question: Question | None = None
    answer: Answer | MoveProposal | None = None
    is_gone: bool = False

    def filled(self, name: str, otherwise: str = "") -> str:
        """A field as it was filled in."""
        return (self.form or {}).get(name, otherwise)


def seen(shelf: Shelf, plan: WeekPlan, word: str) -> Seen:
    """The question and the answer under a word; one without an answer still fills the form."""
    if not word:
        return Seen()
    try:
        asked = question_of(shelf.store, word)
        return Seen(word, dict(asked.form), asked.question, answer_of(shelf.store, word, plan))
    except InputError:
        return Seen(is_gone=True)


def ask(
    request: Request, desk: JobDesk, plan: WeekPlan, page: str, question: Question, *, by: str = "",
    content: Iterable[bytes] = (), form: Mapping[str, str] | None = None,
) -> Job:  # fmt: skip
    """Begin to answer a question of a plan; `page` below the plan shows it, `form` is how it was filled in."""
    by = acting_name(getattr(request.state, "account", None), by)
    asked = Asked(plan.version, f"plans/{plan.version}{page}", question, by, tuple((form or {}).items()))
    return desk.store.job(desk.ask(asked, content))


def go_to(job: Job | int) -> Response:
    """To the page of a job, and on to its result as soon as it is there."""
    return RedirectResponse(f"/jobs/{job if isinstance(job, int) else job.number}?then=open", status_code=303)
