"""Long work behind the pages: asked for once, done by a worker, seen by everybody, stopped by anybody."""

from __future__ import annotations

import contextlib
import shutil
import threading
import time
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from cakewright.app.answer_questions import (
    Asked,
    accept_answer,
    answer_of,
    answer_question,
    check_acceptable,
    keep_question,
    page_of,
    question_of,
)
from cakewright.app.asked_quotes import FOLDER as ASKED
from cakewright.app.asked_quotes import asked_of
from cakewright.app.inbox import ORDERS, PARTS, Inbox
from cakewright.app.keep_nest import judged_moves
from cakewright.app.logs import tell
from cakewright.app.move_part import Move
from cakewright.app.progress import Progress
from cakewright.app.questions import AskWhatIf, HasStopped, MoreCapacity, NewRevision, PlanAgain
from cakewright.app.short_work import Made, keep_moved, make_quote
from cakewright.app.worker import Ended, Limits, Told, Worker
from cakewright.errors import CakewrightError, InputError
from cakewright.formats.orders_csv import read_orders
from cakewright.model.cell import Cell
from cakewright.model.plan import WeekPlan
from cakewright.store import Job, Store
from cakewright.store.jobs import JobState

PLAN = "plan a week"
NEST = "nest a build again"
PAPERS = "write the papers of a plan"
QUOTE = "quote a part"
KEEP = "keep a nest moved by hand"
AGAIN = "plan the rest of a week again"
WHAT_IF = "answer what if"
STOPPED = "look for ways out after a stop"
REVISE = "judge a new revision"
CAPACITY = "work out more capacity"
ACCEPT = "keep what was shown as a new plan"
QUESTIONS: Mapping[type, str] = {PlanAgain: AGAIN, AskWhatIf: WHAT_IF, HasStopped: STOPPED, NewRevision: REVISE,
                                  MoreCapacity: CAPACITY}  # fmt: skip
SHORT = frozenset({QUOTE, KEEP, ACCEPT, *QUESTIONS.values()})  # somebody waits; `folder` becomes the page of the result
PLAN_LIMITS = Limits(memory_bytes=32 * 1024**3)
MOST_SECONDS = 3600.0
BEING_WRITTEN = ".plan-being-written-*"


class JobDesk:
    """Takes orders for long work and does one after the other. `clock` says the time at the machine.

    What somebody waits for at the screen has turns of its own and never stands behind a plan of the week: one for what
    takes up to a minute (a quote, a revision, a way out), one for questions of seconds.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime]) -> None:
        self.store = store
        self.clock = clock
        self.inbox = Inbox(store.folder / "inbox")
        self._turn = threading.Lock()  # one plan at a time: each may use every core
        self._short_turn = threading.Lock()
        self._ask_turn = threading.Lock()
        self._workers: dict[int, Worker] = {}
        self._held: dict[int, AbstractContextManager[None]] = {}
        self._cancelled: set[int] = set()
        self._guard = threading.Lock()
        self._cell: tuple[int, Cell] | None = None
        self._is_closing = False
        self.patience_s = 0.0

    def recover(self) -> int:
        """Call once at the start: mark what the last run left unfinished, sweep up half-written folders.

        What another server over the same database has in hand is left alone.
        """
        left = self.store.interrupt_jobs(self.clock())
        if not any(not job.state.is_final for job in self.store.jobs()):
            for folder in self.store.folder.glob(BEING_WRITTEN):
                shutil.rmtree(folder, ignore_errors=True)
        return left

    def cell(self) -> Cell | None:
        """The cell of the newest plan."""
        newest = self.store.newest()
        if newest is None:
            return None
        if self._cell is None or self._cell[0] != newest:
            self._cell = newest, self.store.load_plan(newest).cell
        return self._cell[1]

    def plan(self, tray: str, *, by: str, start: datetime | None, seconds: float | None, cell: Cell | None) -> int:
        """Ask for a plan of the files in a tray; the number of the job.

        The lists are read at once, so that what is wrong with them is said before anybody waits.
        """
        folder = self.inbox.tray(tray)
        the_cell = self.inbox.cell(tray, cell)
        orders = self.inbox.orders(tray)
        if orders is None:
            raise InputError("there is no order list in this tray yet", remedy="drop a CSV file")
        read_orders(orders, the_cell)
        number = self.store.add_job(kind=PLAN, by=by, folder=tray, at=self.clock())
        out = self.store.folder
        arguments = (folder, out, self.store.address, the_cell, start, self.clock(), seconds, by)
        self._begin(number, plan_tray, arguments)
        return number

    def nest(self, version: int, key: str, *, by: str, seconds: float | None) -> int:
        """Ask for a build of a plan to be nested again around what is pinned; the number of the job."""
        if seconds is not None and not 0 < seconds <= MOST_SECONDS:
            raise InputError(f"{seconds:g} seconds", remedy=f"give 1 to {MOST_SECONDS:.0f} seconds", where="seconds")
        number = self.store.add_job(kind=NEST, by=by, folder=f"plans/{version}/builds/{quote(key)}", at=self.clock())
        self._begin(number, nest_build, (self.store.address, version, key, seconds, by, self.clock()))
        return number

    def papers(self, version: int, *, by: str) -> int:
        """Ask for the folder of papers of a plan that was accepted on a page; the number of the job."""
        number = self.store.add_job(kind=PAPERS, by=by, folder=f"plans/{version}", at=self.clock())
        self._begin(number, papers_of, (self.store.address, version, self.clock()))
        return number

    def keep(self, plan: WeekPlan, key: str, moves: Sequence[Move], pinned: Collection[str] | None, *, by: str) -> int:
        """Ask for moves and pins to be kept as a new plan version; the number of the job.

        They are judged at once, so that what is wrong with them is said before anybody waits.
        """
        now = self.clock()
        judged_moves(plan, key, moves, pinned, at=now, progress=self.store.schedule.progress_of(plan.version))
        number = self.store.add_job(kind=KEEP, by=by, folder=f"plans/{plan.version}/builds/{quote(key)}", at=now)
        arguments = (self.store.address, plan.version, key, tuple(moves), pinned, by, now)
        self._begin(number, keep_moved, arguments, self._short_turn)
        return number

    def quote(self, word: str, *, cell: Cell, plan: WeekPlan | None) -> int:
        """Ask for a quote of what is kept under a word (`asked_quotes.keep_asked`); the number of the job."""
        by = asked_of(self.store, word).by
        number = self.store.add_job(kind=QUOTE, by=by, folder=f"{ASKED}/{word}", at=self.clock())
        arguments = (self.store.address, word, cell, plan, self.clock())
        self._begin(number, make_quote, arguments, self._short_turn)
        return number

    def ask(self, asked: Asked, content: Iterable[bytes] = ()) -> int:
        """Ask a question of a running week, with the file that belongs to it; the number of the job."""
        return self.answer(keep_question(self.store, asked, content))

    def answer(self, word: str) -> int:
        """Answer the question that is kept under a word; the number of the job."""
        asked = question_of(self.store, word)
        kind = QUESTIONS[type(asked.question)]
        number = self.store.add_job(kind=kind, by=asked.by, folder=page_of(asked.page, word), at=self.clock())
        turn = self._short_turn if kind in (REVISE, CAPACITY) else self._ask_turn
        self._begin(number, answer_question, (self.store.address, word), turn)
        return number

    def accept(self, word: str, plan: WeekPlan, *, way: str = "", by: str, note: str = "") -> int:
        """Ask for an answer to be kept as it was shown, as a new plan version; the number of the job.

        Who may not, or what is no way out, is said before anybody waits.
        """
        now = self.clock()
        check_acceptable(self.store, answer_of(self.store, word, plan), way, by, now)
        place = page_of(question_of(self.store, word).page, word)
        number = self.store.add_job(kind=ACCEPT, by=by, folder=place, at=now)
        self._begin(number, accept_answer, (self.store.address, word, way, by, note, now), self._short_turn)
        return number

    def _begin(
        self, number: int, work: Callable[..., int | Made], arguments: tuple[object, ...],
        turn: threading.Lock | None = None,
    ) -> None:  # fmt: skip
        self._held[number] = self.store.hold_job(number)
        rest = (number, work, arguments, turn or self._turn)
        threading.Thread(target=self._run, args=rest, name=f"job-{number}", daemon=True).start()

    def cancel(self, number: int) -> Job:
        """Stop a job; what is already saved stays, everything else is as before."""
        if not self.store.job(number).state.is_final:
            with self._guard:
                self._cancelled.add(number)
                worker = self._workers.get(number)
            if worker is not None:
                worker.stop()
            self.store.change_job(number, state=JobState.CANCELLED.value, ended_at=self.clock(), note="")
        return self.store.job(number)

    def close(self) -> None:
        """Begin nothing new, let work under way go on for `patience_s`, then stop it.

        What did not finish is marked as interrupted and can be started again: the files are kept.
        """
        self._is_closing = True
        until = time.monotonic() + self.patience_s
        while self._workers and time.monotonic() < until:
            time.sleep(0.1)
        with self._guard:
            workers = list(self._workers.values())
            self._cancelled |= set(self._workers)
        for worker in workers:
            worker.stop()
        for number in list(self._held):
            self._let_go(number)
        self.store.interrupt_jobs(self.clock())

    def _run(
        self, number: int, work: Callable[..., int | Made], arguments: tuple[object, ...], turn: threading.Lock
    ) -> None:
        with turn:
            with self._guard:
                if number in self._cancelled or self._is_closing:
                    return
                worker = self._workers[number] = Worker(work, *arguments, limits=PLAN_LIMITS)
            self.store.change_job(number, state=JobState.RUNNING.value, stage="starting")
            try:
                self._follow(number, worker)
            except CakewrightError as wrong:  # the store is gone or full: say so where it can still be said
                with contextlib.suppress(CakewrightError):
                    self._end(number, Ended(code=wrong.code, found=wrong.found, remedy=wrong.remedy))
            finally:
                with self._guard:
                    self._workers.pop(number, None)
                worker.stop()
                self._let_go(number)

    def _let_go(self, number: int) -> None:
        held = self._held.pop(number, None)
        if held is not None:
            held.__exit__(None, None, None)

    def _follow(self, number: int, worker: Worker) -> None:
        for said in worker.messages():
            if isinstance(said, Told):
                self.store.change_job(number, stage=said.stage, done=said.done, total=said.total, note=said.note[:200])
            elif isinstance(said, Ended) and number not in self._cancelled:
                self._end(number, said)
            elif said is None and self.store.job(number).state.is_final:  # stopped from another server
                worker.stop()

    def _end(self, number: int, ended: Ended) -> None:
        told = "done" if ended.is_good else "failed"
        tell("job", number=number, kind=self.store.job(number).kind, state=told, cpu_s=round(ended.cpu_s, 2))
        if ended.is_good:
            made = ended.value if isinstance(ended.value, Made) else None
            result = {"plan": ended.value} if made is None else {"plan": made.plan, "folder": made.place}
            if made and made.plan is not None:
                self.papers(made.plan, by=self.store.job(number).by)
            self.store.change_job(number, state=JobState.DONE.value, ended_at=self.clock(), **result)
            return
        found = f"{ended.where}: {ended.found}" if ended.where else ended.found
        self.store.change_job(
            number, state=JobState.FAILED.value, ended_at=self.clock(), found=found, remedy=ended.remedy
        )


def plan_tray(
    report: Progress,
    tray: Path,
    out: Path,
    database: str,
    cell: Cell,
    start: datetime | None,
    now: datetime,
    seconds: float | None,
    by: str,
) -> int:
    """What a worker does: plan the files of a tray, write the folder, save the version; its number."""
    from cakewright.app.crew import crew_at
    from cakewright.app.learnt_cell import learnt_cell
    from cakewright.app.part_records import records_at
    from cakewright.app.plan_week import plan_week
    from cakewright.app.powder_stock import stocked_from
    from cakewright.app.write_plan import write_plan

    orders = read_orders(tray / ORDERS, cell)
    cell = learnt_cell(cell, database)
    cell = stocked_from(cell, database, (now or datetime.now(UTC)).date())
    with crew_at(None) as crew:  # of CAKEWRIGHT_CLUSTER, when it is set where the server runs
        plan = plan_week(orders, cell, tray / PARTS, start=start, now=now, seconds=seconds, progress=report,
                         records=records_at(database), crew=crew)  # fmt: skip
    plan, _ = write_plan(plan, out, at=datetime.now(UTC), made_by=by, progress=report, database=database)
    return plan.version


def nest_build(
    report: Progress, database: str, version: int, key: str, seconds: float | None, by: str, at: datetime
) -> int:
    """What a worker does: nest one build again around what is pinned; the new plan version."""
    import time

    from cakewright.app.effort import effort_in_seconds
    from cakewright.app.nest_around import nest_around
    from cakewright.app.plan_folder import write_papers
    from cakewright.store import open_store

    with open_store(database) as store:
        plan = store.load_plan(version)
        effort = effort_in_seconds(plan.cell.nesting.seconds_per_build if seconds is None else seconds, time.monotonic)
        new = nest_around(store, plan, key, effort=effort, by=by, at=at, progress=report)
        write_papers(store, new, at=at, progress=report)
        return new


def papers_of(report: Progress, database: str, version: int, at: datetime) -> int:
    """What a worker does after a plan was accepted on a page: write its papers."""
    from cakewright.app.plan_folder import write_papers
    from cakewright.store import open_store

    with open_store(database) as store:
        write_papers(store, version, at=at, progress=report)
    return version
