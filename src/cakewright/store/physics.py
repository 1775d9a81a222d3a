"""Job logs, probe readings and what was learnt from them: written once, the newest word about a build counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, Engine, insert, select

from cakewright.errors import StoreError
from cakewright.model.mesh import FloatArray
from cakewright.store import schema
from cakewright.store import schema_physics as tables
from cakewright.store.engine import reading, writing
from cakewright.store.server import Desk
from cakewright.store.types import pack, unpack

TERMS = ("fixed", "recoat", "hatch", "outline")


@dataclass(frozen=True, eq=False)
class KeptLog:
    """What a log says about a build of a plan. `layer_s` (n,) part layers, NaN where the log lost one."""

    machine: str
    log_name: str
    plan: int
    build: str
    extra_layers_mm: float
    total_s: float | None = None
    layer_s: FloatArray | None = None
    starts: datetime | None = None
    ends: datetime | None = None
    number: int = 0


@dataclass(frozen=True, slots=True)
class KeptFit:
    """A machine's learnt times: (factor, low, high) of fixed, recoat, hatch, outline; `gaps` by build.

    `note` holds the figures of the cell file that the factors multiply.
    """

    machine: str
    builds: int
    factors: tuple[tuple[float, float, float], ...]
    relative_sigma: float
    gaps: tuple[tuple[str, float], ...] = ()
    at: datetime | None = None
    number: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True)
class KeptReading:
    """A temperature measured in a cake: chamber mm, seconds after the print end."""

    plan: int
    build: str
    at_mm: tuple[float, float, float]
    after_s: float
    celsius: float
    number: int = 0


@dataclass(frozen=True, slots=True)
class KeptSpeed:
    """The learnt number of a chamber type with its 90 % bounds; `basis` names the properties it belongs to."""

    chamber_type: str
    basis: str
    readings: int
    value: float
    low: float
    high: float
    at: datetime | None = None
    number: int = 0


class PhysicsTables:
    """The physics records of one database."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def add_logs(self, logs: Sequence[KeptLog], *, by: str, at: datetime, note: str = "") -> None:
        """Keep logs, all or none."""
        rows = [_log_row(log) | {"by": by, "at": at, "note": note} for log in logs]
        with writing(self._engine, Desk.PHYSICS) as link:
            if rows:
                link.execute(insert(tables.job_log), rows)

    def logs(self, machine: str | None = None) -> tuple[KeptLog, ...]:
        """The newest log of every build, oldest build first; of one machine when named."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.job_log).order_by(tables.job_log.c.number)).mappings()
            newest = {(row["plan"], row["build"]): _log(dict(row)) for row in rows}
        return tuple(log for log in newest.values() if machine in (None, log.machine))

    def add_fit(self, fit: KeptFit, *, by: str, at: datetime, note: str = "") -> int:
        """Keep a fit with its residuals; its number."""
        row: dict[str, Any] = {"machine": fit.machine, "builds": fit.builds, "relative_sigma": fit.relative_sigma}
        for term, (value, low, high) in zip(TERMS, fit.factors, strict=True):
            row |= {term: value, f"{term}_low": low, f"{term}_high": high}
        with writing(self._engine, Desk.PHYSICS) as link:
            number = _number(link, tables.time_fit, row | {"by": by, "at": at, "note": note})
            gaps = [{"fit": number, "position": i, "build": b, "gap": g} for i, (b, g) in enumerate(fit.gaps)]
            if gaps:
                link.execute(insert(tables.fit_gap), gaps)
        return number

    def fits(self, machine: str | None = None) -> tuple[KeptFit, ...]:
        """Every fit, oldest first; of one machine when named."""
        with reading(self._engine) as link:
            rows = [
                dict(r) for r in link.execute(select(tables.time_fit).order_by(tables.time_fit.c.number)).mappings()
            ]
            gaps = [
                dict(r) for r in link.execute(select(tables.fit_gap).order_by(tables.fit_gap.c.position)).mappings()
            ]
        found = (_fit(row, tuple((g["build"], g["gap"]) for g in gaps if g["fit"] == row["number"])) for row in rows)
        return tuple(fit for fit in found if machine in (None, fit.machine))

    def add_readings(self, readings: Sequence[KeptReading], *, by: str, at: datetime, note: str = "") -> None:
        """Keep probe readings, all or none."""
        rows = [
            {
                "plan": r.plan, "build": r.build, "after_s": r.after_s, "celsius": r.celsius, "by": by, "at": at,
                "note": note, **dict(zip(("x_mm", "y_mm", "z_mm"), r.at_mm, strict=True)),
            }
            for r in readings
        ]  # fmt: skip
        with writing(self._engine, Desk.PHYSICS) as link:
            if rows:
                link.execute(insert(tables.probe_reading), rows)

    def readings(self, chamber_type: str | None = None) -> tuple[KeptReading, ...]:
        """Every reading, oldest first; of cakes in one chamber type when named."""
        reading_, build = tables.probe_reading, schema.build
        joined = reading_.join(build, (build.c.plan == reading_.c.plan) & (build.c.key == reading_.c.build))
        query = select(reading_, build.c.chamber_type).select_from(joined).order_by(reading_.c.number)
        with reading(self._engine) as link:
            rows = [dict(row) for row in link.execute(query).mappings()]
        return tuple(_reading(row) for row in rows if chamber_type in (None, row["chamber_type"]))

    def add_speed(self, speed: KeptSpeed, *, by: str, at: datetime, note: str = "") -> int:
        """Keep the number of a chamber type; its own number."""
        names = ("chamber_type", "basis", "readings", "value", "low", "high")
        row = {name: getattr(speed, name) for name in names} | {"by": by, "at": at, "note": note}
        with writing(self._engine, Desk.PHYSICS) as link:
            return _number(link, tables.chamber_speed, row)

    def speeds(self) -> dict[str, KeptSpeed]:
        """The newest number of each chamber type."""
        with reading(self._engine) as link:
            rows = link.execute(select(tables.chamber_speed).order_by(tables.chamber_speed.c.number)).mappings()
            return {row["chamber_type"]: _speed(dict(row)) for row in rows}


def _number(link: Connection, table: Any, row: dict[str, Any]) -> int:
    number = link.scalar(insert(table).returning(table.c.number), row)
    if number is None:
        raise StoreError("the record was not kept", remedy="do it again")
    return int(number)


def _log_row(log: KeptLog) -> dict[str, Any]:
    names = ("machine", "log_name", "plan", "build", "extra_layers_mm", "total_s", "starts", "ends")
    layers = None if log.layer_s is None else pack(np.asarray(log.layer_s, dtype=np.float64))
    return {name: getattr(log, name) for name in names} | {"layer_s": layers}


def _log(row: dict[str, Any]) -> KeptLog:
    data = row.pop("layer_s")
    layers = None if data is None else np.asarray(unpack(data, "f8", where=f"log of {row['build']}"), dtype=np.float64)
    return KeptLog(**{k: v for k, v in row.items() if k not in ("at", "by", "note")}, layer_s=layers)


def _fit(row: dict[str, Any], gaps: tuple[tuple[str, float], ...]) -> KeptFit:
    factors = tuple((row[term], row[f"{term}_low"], row[f"{term}_high"]) for term in TERMS)
    return KeptFit(
        row["machine"], row["builds"], factors, row["relative_sigma"], gaps, row["at"], row["number"], row["note"]
    )


def _reading(row: dict[str, Any]) -> KeptReading:
    at = (row["x_mm"], row["y_mm"], row["z_mm"])
    return KeptReading(row["plan"], row["build"], at, row["after_s"], row["celsius"], row["number"])


def _speed(row: dict[str, Any]) -> KeptSpeed:
    return KeptSpeed(**{k: v for k, v in row.items() if k not in ("by", "note")})
