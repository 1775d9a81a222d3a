"""Accounts and sessions in the store, and the record of changes in which each row seals the one before."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from sqlalchemy import Connection, Engine, delete, func, insert, select, update

from cakewright.errors import InputError, StoreError
from cakewright.store.engine import reading, writing
from cakewright.store.schema_accounts import account, audit, session, wrong_password
from cakewright.store.server import Desk

NOTHING_BEFORE = "0" * 64


class Role(StrEnum):
    """What somebody may do. A planner may do everything."""

    PLANNER = "planner"
    OPERATOR = "operator"
    INSPECTOR = "inspector"
    SALES = "sales"
    READER = "read-only"


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who may log in; `password` is the argon2 hash."""

    name: str
    role: Role
    password: str
    is_open: bool
    made_at: datetime


@dataclass(frozen=True, slots=True)
class AuditRow:
    """One change: who, what, how it was answered, sealed by `digest` over this row and the digest `before`."""

    number: int
    at: datetime
    account: str
    deed: str
    outcome: int
    before: str
    digest: str


class Accounts:
    """Accounts, sessions and the record of changes, over one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def add(self, name: str, role: Role, password_hash: str, *, at: datetime) -> None:
        """A new account; InputError when the name is taken."""
        with writing(self._engine, Desk.ACCOUNTS) as link:
            if link.scalar(select(account.c.name).where(account.c.name == name)) is not None:
                raise InputError(f"{name} has an account already", remedy="choose another name, or change it")
            row = {"name": name, "role": role.value, "password": password_hash, "is_open": True, "made_at": at}
            link.execute(insert(account), row)

    def change(self, name: str, *, role: Role | None = None, password_hash: str | None = None,
               is_open: bool | None = None) -> None:  # fmt: skip
        """Another role, password or state; open sessions end. InputError when there is no such account."""
        given = {"role": role.value if role else None, "password": password_hash, "is_open": is_open}
        values = {key: value for key, value in given.items() if value is not None}
        with writing(self._engine, Desk.ACCOUNTS) as link:
            if link.scalar(select(account.c.name).where(account.c.name == name)) is None:
                raise InputError(f"there is no account {name!r}", remedy="`cakewright people list` shows them")
            link.execute(update(account).where(account.c.name == name).values(**values))
            link.execute(delete(session).where(session.c.account == name))

    def all(self) -> tuple[Account, ...]:
        """Every account by name."""
        with reading(self._engine) as link:
            rows = link.execute(select(account).order_by(account.c.name)).mappings()
            return tuple(Account(**{**row, "role": Role(row["role"])}) for row in rows)

    def open_session(self, token: str, name: str, *, until: datetime, kind: str = "browser") -> None:
        """Keep the digest of a token; the token itself is never kept."""
        with writing(self._engine, Desk.ACCOUNTS) as link:
            row = {"digest": _digest(token), "account": name, "kind": kind, "until": until}
            link.execute(insert(session), row)

    def close_session(self, token: str) -> None:
        """Log out."""
        with writing(self._engine, Desk.ACCOUNTS) as link:
            link.execute(delete(session).where(session.c.digest == _digest(token)))

    def of_token(self, token: str, *, now: datetime) -> Account | None:
        """The open account of a token that has not run out, None otherwise."""
        query = (
            select(account)
            .join(session, session.c.account == account.c.name)
            .where((session.c.digest == _digest(token)) & (session.c.until > now) & account.c.is_open)
        )
        with reading(self._engine) as link:
            row = link.execute(query).mappings().one_or_none()
        return None if row is None else Account(**{**row, "role": Role(row["role"])})

    def note_wrong_password(self, name: str, *, at: datetime) -> None:
        """Count a wrong password against a name."""
        with writing(self._engine, Desk.ACCOUNTS) as link:
            link.execute(insert(wrong_password), {"name": name[:80], "at": at})

    def wrong_since(self, name: str, since: datetime) -> int:
        """Wrong passwords for a name since a moment."""
        query = select(func.count()).select_from(wrong_password)
        with reading(self._engine) as link:
            where = (wrong_password.c.name == name[:80]) & (wrong_password.c.at >= since)
            return int(link.scalar(query.where(where)) or 0)

    def note_change(self, *, account_name: str, deed: str, outcome: int, at: datetime) -> AuditRow:
        """Append to the record of changes."""
        with writing(self._engine, Desk.AUDIT) as link:
            last = _last(link)
            number, before = (last.number + 1, last.digest) if last else (1, NOTHING_BEFORE)
            digest = seal(number, at, account_name, deed, outcome, before)
            row = AuditRow(number, at, account_name, deed, outcome, before, digest)
            values = {name: getattr(row, name) for name in AuditRow.__slots__}
            link.execute(insert(audit), values)
            return row

    def changes(self, most: int | None = None) -> tuple[AuditRow, ...]:
        """The record, newest first."""
        query = select(audit).order_by(audit.c.number.desc())
        with reading(self._engine) as link:
            rows = link.execute(query.limit(most) if most else query).mappings()
            return tuple(AuditRow(**row) for row in rows)

    def verify_changes(self) -> tuple[int, str]:
        """(rows, digest of the last) of the record. StoreError naming the first row that was tampered with."""
        before, count = NOTHING_BEFORE, 0
        for row in reversed(self.changes()):
            count += 1
            good = row.number == count and row.before == before
            if not good or row.digest != seal(row.number, row.at, row.account, row.deed, row.outcome, row.before):
                raise StoreError(
                    f"row {row.number} of the record of changes was altered",
                    remedy="keep this file, restore a backup, and find out who had access",
                )
            before = row.digest
        return count, before


def seal(number: int, at: datetime, account_name: str, deed: str, outcome: int, before: str) -> str:
    """SHA-256 over a row and the digest before it."""
    text = "\x1f".join((str(number), at.isoformat(), account_name, deed, str(outcome), before))
    return hashlib.sha256(text.encode()).hexdigest()


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _last(link: Connection) -> AuditRow | None:
    row = link.execute(select(audit).order_by(audit.c.number.desc()).limit(1)).mappings().one_or_none()
    return None if row is None else AuditRow(**row)
