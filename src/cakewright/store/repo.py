"""The store: plans go in as versions and come out as they were."""

from __future__ import annotations

from contextlib import AbstractContextManager
from datetime import datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType

from sqlalchemy import Connection, Engine, func, select, text

from cakewright.errors import StoreError
from cakewright.model.offer import Offer, OfferState
from cakewright.model.plan import WeekPlan
from cakewright.store import schema
from cakewright.store.accounts import Accounts
from cakewright.store.backup import Backup, back_up, check_file
from cakewright.store.customers import CustomerTables
from cakewright.store.dump import check_server, dump
from cakewright.store.engine import is_server, patiently, reading, writing
from cakewright.store.floor import PieceRecord, PieceState, add_record, records_of
from cakewright.store.floor_log import FloorLog
from cakewright.store.jobs import Job, add_job, change_job, holding, interrupt_jobs, job_of, jobs_of
from cakewright.store.marks import Marks, marks_of
from cakewright.store.offers import KeptOffer, add_event, add_offer, offer_of, offers_of
from cakewright.store.parts import PartTables
from cakewright.store.photos import Photos
from cakewright.store.physics import PhysicsTables
from cakewright.store.powder import PowderTables
from cakewright.store.read import read_plan
from cakewright.store.schedule import ScheduleTables
from cakewright.store.server import Desk, files_beside, name_of
from cakewright.store.summaries import PlanSummary, Summaries
from cakewright.store.write import write_plan


class Store:
    """One database. Open it with `open_store`; it may be used as a context manager and by several threads."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._summaries = Summaries()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: type[BaseException] | None, wrong: BaseException | None, tb: TracebackType | None) -> None:
        self.close()

    @property
    def path(self) -> Path:
        """The file. StoreError for a database on a server: use `folder`, `name` or `address`."""
        if is_server(self._engine.url):
            raise StoreError("the database is on a server, not in a file", where=self.name)
        return Path(str(self._engine.url.database))

    @property
    def is_on_server(self) -> bool:
        """True for PostgreSQL, False for a file."""
        return is_server(self._engine.url)

    @property
    def name(self) -> str:
        """What the database is called in a message: the file, or the address without the password."""
        return name_of(self._engine.url)

    @property
    def address(self) -> str:
        """What opens this database again; with the password, so never to be shown."""
        url = self._engine.url
        return url.render_as_string(hide_password=False) if self.is_on_server else str(self.path.absolute())

    @property
    def folder(self) -> Path:
        """Where files beside the database lie: its own folder, or that of CAKEWRIGHT_FILES for a server."""
        return Path(files_beside(self._engine.url)) if self.is_on_server else self.path.parent

    @property
    def size_bytes(self) -> int:
        """Bytes that the database takes on its disk."""
        if not self.is_on_server:
            return self.path.stat().st_size
        with reading(self._engine) as link:
            return int(link.scalar(text("SELECT pg_database_size(current_database())")) or 0)

    @property
    def powder(self) -> PowderTables:
        """The powder books in this database."""
        return PowderTables(self._engine)

    @property
    def physics(self) -> PhysicsTables:
        """Job logs, probe readings and what was learnt from them."""
        return PhysicsTables(self._engine)

    @property
    def accounts(self) -> Accounts:
        """Who may log in, and the record of changes."""
        return Accounts(self._engine)

    @property
    def customers(self) -> CustomerTables:
        """Who sees whose files, until when they are kept, what was deleted."""
        return CustomerTables(self._engine)

    @cached_property
    def floor(self) -> FloorLog:
        """What people said and measured on the floor; keeps at hand what it has read."""
        return FloorLog(self._engine)

    @property
    def photos(self) -> Photos:
        """Pictures taken at a machine or a bench."""
        return Photos(self._engine)

    @property
    def schedule(self) -> ScheduleTables:
        """Committed plans, what really began and ended, stopped builds."""
        return ScheduleTables(self._engine)

    @property
    def parts(self) -> PartTables:
        """Rules for part revisions, files seen so far, signatures of known shapes."""
        return PartTables(self._engine)

    def save_plan(self, plan: WeekPlan, *, made_by: str, at: datetime) -> int:
        """Keep a plan as a new version and return its number; all of it or nothing, and nothing is replaced."""

        def save() -> int:
            with writing(self._engine, Desk.PLANS) as link:
                return write_plan(link, plan, made_by=made_by, at=at)

        return patiently(save)

    def plans(self) -> tuple[PlanSummary, ...]:
        """Every version, newest first."""
        with reading(self._engine) as link:
            return self._summaries.all(link)

    def newest(self) -> int | None:
        """The number of the newest version, None when there is no plan yet."""
        with reading(self._engine) as link:
            return _newest(link)

    def load_plan(self, version: int | None = None) -> WeekPlan:
        """A plan as it was saved; the newest without `version`. StoreError when there is none."""
        with reading(self._engine) as link:
            wanted = _newest(link) if version is None else version
            if wanted is None:
                where = self.name
                raise StoreError("there is no plan in the database yet", remedy="plan a week first", where=where)
            return read_plan(link, wanted)

    def record_piece(
        self, *, plan: int, build: str, piece: str, state: PieceState, by: str, at: datetime, note: str = ""
    ) -> int:
        """Append what somebody says about a piece at break-out; the record's number. Nothing is replaced."""
        with writing(self._engine, Desk.FLOOR) as link:
            return add_record(link, plan=plan, build=build, piece=piece, state=state, by=by, at=at, note=note)

    def piece_records(self, plan: int, build: str) -> tuple[PieceRecord, ...]:
        """Every record about the pieces of a build, oldest first."""
        with reading(self._engine) as link:
            return records_of(link, plan, build)

    def lost_pieces(self, plan: int) -> bool:
        """True when somebody ever called a piece of a plan missing or broken."""
        record = schema.piece_record.c
        gone = (record.plan == plan) & record.state.in_((PieceState.MISSING.value, PieceState.BROKEN.value))
        with reading(self._engine) as link:
            return link.scalar(select(record.number).where(gone).limit(1)) is not None

    def add_job(self, *, kind: str, by: str, folder: str, at: datetime) -> int:
        """Note that long work was asked for; its number."""
        with writing(self._engine, Desk.JOBS) as link:
            return add_job(link, kind=kind, by=by, folder=folder, at=at)

    def change_job(self, number: int, **values: object) -> None:
        """Note how far long work is; a job that has ended stays as it ended."""
        with writing(self._engine, Desk.JOBS) as link:
            change_job(link, number, **values)

    def jobs(self) -> tuple[Job, ...]:
        """Every job, newest first."""
        with reading(self._engine) as link:
            return jobs_of(link)

    def job(self, number: int) -> Job:
        """One job; StoreError when there is none."""
        with reading(self._engine) as link:
            return job_of(link, number)

    def hold_job(self, number: int) -> AbstractContextManager[None]:
        """Take a job in hand: until the end of it no other server calls it interrupted. Entered already."""
        held = holding(self._engine, number)
        held.__enter__()
        return held

    def marks(self) -> Marks:
        """How far each part of the database has come: it changes whenever anybody adds anything, in any program."""
        with reading(self._engine) as link:
            return marks_of(link)

    def save_offer(self, offer: Offer, *, at: datetime, by: str, replaces: int | None = None) -> KeptOffer:
        """Keep a quote; with `replaces` as the next issue of that number."""
        with writing(self._engine, Desk.OFFERS) as link:
            number, issue = add_offer(link, offer, at=at, by=by, replaces=replaces)
            return offer_of(link, number, issue)

    def step_offer(self, number: int, state: OfferState, *, at: datetime, by: str, note: str = "") -> KeptOffer:
        """Accept, decline or order the newest issue of a quote; InputError when that cannot follow."""
        with writing(self._engine, Desk.OFFERS) as link:
            add_event(link, number, state, at=at, by=by, note=note)
            return offer_of(link, number)

    def offers(self) -> tuple[KeptOffer, ...]:
        """The newest issue of every quote, newest first."""
        with reading(self._engine) as link:
            return offers_of(link)

    def offer(self, number: int, issue: int | None = None) -> KeptOffer:
        """One quote; StoreError when there is none."""
        with reading(self._engine) as link:
            return offer_of(link, number, issue)

    def interrupt_jobs(self, at: datetime) -> int:
        """Mark jobs that an earlier run of the program left unfinished; how many there were."""
        with writing(self._engine, Desk.JOBS) as link:
            return interrupt_jobs(link, at)

    def backup(self, path: str | Path) -> Backup:
        """Copy the database while it is in use, check the copy, and say what is in it; nothing is overwritten."""
        return dump(self._engine, Path(path)) if self.is_on_server else back_up(self.path, Path(path))

    def check(self) -> int:
        """Read every page and every reference; the number of plans. StoreError when something is damaged."""
        return check_server(self._engine) if self.is_on_server else check_file(self.path)

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()


def _newest(link: Connection) -> int | None:
    version: int | None = link.scalar(select(func.max(schema.plan.c.version)))
    return version
