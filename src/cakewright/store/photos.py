"""Pictures in the database: small ones, written once, kept once when they are sent twice."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Engine, insert, select

from cakewright.errors import InputError, StoreError
from cakewright.store import schema
from cakewright.store.engine import reading, writing
from cakewright.store.schema_floor import photo
from cakewright.store.server import Desk

LARGEST_BYTES = 1_500_000
LONGEST_NOTE = 300
_UID = re.compile(r"[A-Za-z0-9._:-]{8,64}")
_SIGNS = ((b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"))


@dataclass(frozen=True, slots=True)
class Photo:
    """What is known about one picture; its content is read on its own."""

    number: int
    uid: str
    plan: int
    build: str
    line: int | None
    by: str
    at: datetime
    note: str
    media_type: str


def media_type_of(content: bytes) -> str:
    """The kind of a picture by its first bytes. InputError for what is no JPEG, PNG or WebP."""
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    for sign, kind in _SIGNS:
        if content.startswith(sign):
            return kind
    raise InputError("this is no picture", remedy="send a JPEG, PNG or WebP file", where="photo")


class Photos:
    """Every picture, over one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def add(
        self, content: bytes, *, uid: str, plan: int, build: str, by: str, at: datetime, kept_at: datetime,
        note: str = "", line: int | None = None,
    ) -> int:  # fmt: skip
        """Keep a picture of a build; its number, the old one when it was sent before.

        InputError for no name, too many bytes, no picture, or a build that the plan does not have.
        """
        if not by.strip():
            raise InputError("nobody's name is given", remedy="say who you are", where="by")
        if not _UID.fullmatch(uid):
            raise InputError(f"uid {uid[:20]!r} is no plain name of 8 to 64 signs", where="uid")
        if len(content) > LARGEST_BYTES:
            most = f"at most {LARGEST_BYTES / 1e6:.1f} MB"
            raise InputError(f"the picture has {len(content) / 1e6:.1f} MB", remedy=f"{most}: make it smaller",
                             where="photo")  # fmt: skip
        kind = media_type_of(content)
        row = {"uid": uid, "plan": plan, "build": build, "line": line, "by": by.strip(), "at": at, "kept_at": kept_at,
               "note": note.strip()[:LONGEST_NOTE], "media_type": kind, "content": content}  # fmt: skip
        with writing(self._engine, Desk.FLOOR) as link:
            known = link.scalar(select(photo.c.number).where(photo.c.uid == uid))
            if known is not None:
                return int(known)
            where = (schema.build.c.plan == plan) & (schema.build.c.key == build)
            if link.scalar(select(schema.build.c.key).where(where)) is None:
                raise InputError(f"plan {plan} has no build {build}", where="build")
            number = link.scalar(insert(photo).returning(photo.c.number), row)
        if number is None:
            raise StoreError("the picture was not kept", remedy="send it again")
        return int(number)

    def of_build(self, plan: int, build: str) -> tuple[Photo, ...]:
        """The pictures of a build, newest first, without their content."""
        names = ("number", "uid", "plan", "build", "line", "by", "at", "note", "media_type")
        query = select(*(photo.c[name] for name in names)).where((photo.c.plan == plan) & (photo.c.build == build))
        with reading(self._engine) as link:
            rows = link.execute(query.order_by(photo.c.at.desc(), photo.c.number.desc())).mappings()
            return tuple(Photo(**row) for row in rows)

    def content(self, number: int) -> tuple[str, bytes]:
        """(media type, bytes) of a picture; StoreError when there is none."""
        with reading(self._engine) as link:
            row = link.execute(select(photo.c.media_type, photo.c.content).where(photo.c.number == number)).first()
        if row is None:
            raise StoreError(f"there is no picture {number}", remedy="choose one on the page of its build")
        return str(row.media_type), bytes(row.content)
