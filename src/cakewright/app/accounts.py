"""Who may log in and do what: passwords by argon2, sessions that run out, names that have to wait after wrong tries."""

from __future__ import annotations

import re
import secrets
from datetime import datetime, timedelta

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from cakewright.errors import InputError
from cakewright.sources.security import PASSWORD_LENGTH, PASSWORD_LONGEST, SESSION_HOURS, TRIES, WAIT_MINUTES
from cakewright.store import Store
from cakewright.store.accounts import Account, Role

_NAME = re.compile(r"\w[\w .'-]{0,79}")
_HASHER = PasswordHasher()
_NOBODY = _HASHER.hash(secrets.token_hex(16))  # so that an unknown name takes as long as a known one
TOKEN_DAYS = 365

WRITES: dict[Role, tuple[str, ...]] = {  # parts of addresses that a role may change; a planner may change everything
    Role.OPERATOR: (
        "/unpack",
        "/records",
        "/run/",
        "/floor",
        "/powder",
        "/wrong",
        "/note",
        "/inspect",
        "/happened",
        "/baskets",
        "/specimens",
        "/pack",
        "/logout",
    ),
    Role.INSPECTOR: (
        "/inspect",
        "/wrong",
        "/run/release",
        "/floor",
        "/records",
        "/specimens",
        "/release",
        "/gauges",
        "/pack",
        "/logout",
    ),
    Role.SALES: ("/quotes", "/logout"),
    Role.READER: ("/logout",),
}


def add_account(store: Store, name: str, role: Role, password: str, *, at: datetime) -> None:
    """A new account. InputError for a name that is none, a short password, or one that is the name."""
    if not _NAME.fullmatch(name):
        raise InputError(f"{name[:40]!r} is no name", remedy="use letters, digits, blanks, - and .")
    store.accounts.add(name, role, hash_of(password, name), at=at)


def change_password(store: Store, name: str, password: str) -> None:
    """Another password; open sessions end."""
    store.accounts.change(name, password_hash=hash_of(password, name))


def hash_of(password: str, name: str) -> str:
    """The argon2id hash of a password that is long enough; length is the only rule."""
    if len(password) < PASSWORD_LENGTH.value:
        raise InputError(
            f"a password of {len(password)} characters",
            remedy=f"use {PASSWORD_LENGTH.value:.0f} or more; four or five words are easy to remember",
        )
    if len(password) > PASSWORD_LONGEST.value or password.casefold() == name.casefold():
        raise InputError("that password cannot be used", remedy="use another one, not your name")
    return _HASHER.hash(password)


def log_in(store: Store, name: str, password: str, *, now: datetime) -> str:
    """A session token. InputError for a wrong pair, or while a name has to wait after too many wrong tries."""
    known = _checked(store, name, password, now)
    token = secrets.token_urlsafe(32)
    store.accounts.open_session(token, known.name, until=now + timedelta(hours=SESSION_HOURS.value))
    return token


def _checked(store: Store, name: str, password: str, now: datetime) -> Account:
    since = now - timedelta(minutes=WAIT_MINUTES.value)
    if store.accounts.wrong_since(name, since) >= TRIES.value:
        raise InputError(
            "too many wrong tries for this name", remedy=f"wait {WAIT_MINUTES.value:.0f} minutes, or ask a planner"
        )
    known = next((a for a in store.accounts.all() if a.name == name and a.is_open), None)
    try:
        _HASHER.verify(known.password if known else _NOBODY, password)
    except VerifyMismatchError:
        known = None
    if known is None:
        store.accounts.note_wrong_password(name, at=now)
        raise InputError("name and password do not belong together", remedy="try again, or ask a planner")
    return known


def is_signed_by(store: Store, name: str, password: str, *, now: datetime) -> bool:
    """Whether this is the password of an open account; wrong ones count as wrong tries of that name."""
    try:
        _checked(store, name, password, now)
    except InputError:
        return False
    return True


def make_token(store: Store, name: str, *, now: datetime) -> str:
    """A token for a script, good for a year, told once and never again."""
    if name not in {a.name for a in store.accounts.all() if a.is_open}:
        raise InputError(f"there is no open account {name!r}", remedy="add it first")
    token = secrets.token_urlsafe(32)
    store.accounts.open_session(token, name, until=now + timedelta(days=TOKEN_DAYS), kind="script")
    return token


def may(account: Account, method: str, path: str) -> bool:
    """Whether an account may do this: everybody may look, a planner may do everything."""
    if method in ("GET", "HEAD", "OPTIONS") or account.role is Role.PLANNER:
        return True
    return any(part in f"{path}/" for part in WRITES[account.role])
