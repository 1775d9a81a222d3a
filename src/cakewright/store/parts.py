"""Part revisions in the database: rules for turning them, written once; who had which file when; known shapes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy import Engine, insert, select

from cakewright.errors import InputError, StoreError
from cakewright.model.mesh import FloatArray, Mesh
from cakewright.model.part import Freedom, OrientationRule
from cakewright.store import schema
from cakewright.store import schema_parts as tables
from cakewright.store.engine import reading, writing
from cakewright.store.read import read_mesh
from cakewright.store.server import Desk
from cakewright.store.types import pack, unpack

LONGEST_REASON = 500


@dataclass(frozen=True, slots=True)
class PartRule:
    """How a part revision may be turned, who said so, when and why (in the rule's reason)."""

    number: int
    name: str
    revision: str
    rule: OrientationRule
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SeenPart:
    """A file that some plan was made with: the newest time each (name, revision, file) was there."""

    name: str
    revision: str
    file: str
    file_sha256: str
    mesh_sha256: str
    plan: int
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class MarkedFaces:
    """The faces of a part revision that must look good, by a place on each (mm, file coordinates); none: all alike."""

    name: str
    revision: str
    places: tuple[tuple[float, float, float], ...]
    by: str
    at: datetime


def _place(text: str) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in text.split())
    return (x, y, z)


class PartTables:
    """The part side of a store."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def add_rule(self, *, name: str, revision: str, rule: OrientationRule, by: str, at: datetime) -> int:
        """Write a rule for a part revision; its number. The newest one counts, earlier ones stay."""
        if not by.strip():
            raise InputError("nobody's name is given", remedy="say who you are", where="by")
        if not rule.reason.strip() or len(rule.reason) > LONGEST_REASON:
            raise InputError(
                f"the reason has {len(rule.reason.strip())} characters",
                remedy=f"say why, in at most {LONGEST_REASON} characters",
                where="reason",
            )
        x, y, z = rule.up
        row = {
            "name": name, "revision": revision, "freedom": rule.freedom.value, "cone_deg": rule.cone_deg,
            "up_x": x, "up_y": y, "up_z": z, "reason": rule.reason.strip(), "by": by.strip(), "at": at,
        }  # fmt: skip
        with writing(self._engine, Desk.PARTS) as link:
            number = link.scalar(insert(tables.rule).returning(tables.rule.c.number), row)
        if number is None:
            raise StoreError("the rule was not kept", remedy="do it again")
        return int(number)

    def rules(self) -> tuple[PartRule, ...]:
        """Every rule ever written, oldest first."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.rule).order_by(tables.rule.c.number)).mappings().all()
        return tuple(
            PartRule(
                r["number"], r["name"], r["revision"],
                OrientationRule(Freedom(r["freedom"]), r["reason"], r["cone_deg"], (r["up_x"], r["up_y"], r["up_z"])),
                r["by"], r["at"],
            )
            for r in rows
        )  # fmt: skip

    def add_faces(
        self, *, name: str, revision: str, places: tuple[tuple[float, float, float], ...], by: str, at: datetime
    ) -> None:
        """Write which faces of a part revision must look good, each by a place on it. The newest list counts."""
        if not by.strip():
            raise InputError("nobody's name is given", remedy="say who you are", where="by")
        said = tuple(" ".join(f"{v:.4f}" for v in place) for place in places)
        row = {"name": name, "revision": revision, "places": said, "by": by.strip(), "at": at}
        with writing(self._engine) as link:
            link.execute(insert(tables.faces), row)

    def faces(self) -> tuple[MarkedFaces, ...]:
        """Every list of faces ever written, oldest first."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.faces).order_by(tables.faces.c.number)).mappings().all()
        return tuple(
            MarkedFaces(r["name"], r["revision"], tuple(_place(text) for text in r["places"]), r["by"], r["at"])
            for r in rows
        )

    def seen(self) -> tuple[SeenPart, ...]:
        """Every file that a plan was made with, newest first, each name, revision and file once."""
        part, plan = schema.part.c, schema.plan.c
        query = (
            select(part.name, part.revision, part.file, part.file_sha256, part.mesh_sha256, part.plan)
            .add_columns(plan.made_at.label("at"), plan.made_by.label("by"))
            .join(schema.plan, plan.version == part.plan)
            .where(part.key.in_(select(schema.order_line.c.part_key).where(schema.order_line.c.plan == part.plan)))
            .order_by(part.plan.desc(), part.position)
        )
        found: dict[tuple[str, str, str], SeenPart] = {}
        with reading(self._engine) as link:
            for row in link.execute(query).mappings():
                found.setdefault((row["name"], row["revision"], row["file_sha256"]), SeenPart(**row))
        return tuple(found.values())

    def files(self, version: int) -> dict[tuple[str, str], str]:
        """The sha256 of the file of each (name, revision) in a plan, without reading the plan."""
        part = schema.part.c
        query = select(part.name, part.revision, part.file_sha256).where(part.plan == version).order_by(part.position)
        with reading(self._engine) as link:
            return {(name, revision): sha256 for name, revision, sha256 in link.execute(query)}

    def mesh(self, sha256: str) -> Mesh:
        """A mesh by the hash of its geometry."""
        with reading(self._engine) as link:
            return read_mesh(link, sha256)

    def signatures(self, method: int) -> dict[str, FloatArray]:
        """The numbers of every known shape by mesh hash, as computed by a version of the method."""
        query = select(tables.signature).where(tables.signature.c.method == method)
        with reading(self._engine) as link:
            rows = link.execute(query).mappings().all()
        return {r["mesh_sha256"]: unpack(r["numbers"], "f8", where="part_signature").astype(np.float64) for r in rows}

    def keep_signature(self, mesh_sha256: str, method: int, numbers: FloatArray) -> None:
        """Keep the numbers of a shape; what is there already stays."""
        key = {"mesh_sha256": mesh_sha256, "method": method}
        with writing(self._engine, Desk.PARTS) as link:
            there = select(tables.signature.c.method).filter_by(**key)
            if link.scalar(there) is None:
                link.execute(insert(tables.signature), {**key, "numbers": pack(np.asarray(numbers, dtype=np.float64))})
