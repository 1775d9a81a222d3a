"""How a cake was opened, for the certificate: measured by a probe where there is a record, else named as computed."""

from __future__ import annotations

from datetime import datetime, timedelta

from cakewright.documents.words import moment
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind
from cakewright.model.plan import TaskKind, WeekPlan
from cakewright.store import Store
from cakewright.store.physics import KeptReading
from cakewright.units import S_PER_H, hours


def opened_words(store: Store, plan: WeekPlan, build: Build) -> str:
    """When the cake was opened and how warm it was; says of every temperature whether it was measured or computed.

    The opening is the first word about a piece (or the noted start of unpacking). '' while it is not opened.
    """
    early = store.floor.records(plan=plan.version, build=build.key, kind=FloorKind.OPENED_EARLY)
    said = [f"EARLY by {early[-1].by}: {early[-1].data['reason']}"] if early else []
    at = _opened_at(store, plan, build) or (early[-1].at if early else None)
    if at is None:
        return ""
    return "; ".join([*said, moment(at, plan.cell.zone), _warmth(store, plan, build, at)])


def _opened_at(store: Store, plan: WeekPlan, build: Build) -> datetime | None:
    noted = [p.started for p in store.schedule.progress_of(plan.version)
             if (p.build, p.kind) == (build.key, TaskKind.UNPACK) and p.started]  # fmt: skip
    first = [r.at for r in store.piece_records(plan.version, build.key)]
    return min([*noted, *first], default=None)


def _warmth(store: Store, plan: WeekPlan, build: Build, at: datetime) -> str:
    end = next((p.ended for p in reversed(store.schedule.progress_of(plan.version))
                if (p.build, p.kind) == (build.key, TaskKind.PRINT) and p.ended), None)  # fmt: skip
    probe = _last_reading(store, plan, build, at, end)
    if probe is not None:
        return f"core {probe.celsius:.0f} °C measured {probe.after_s / S_PER_H:.1f} h after the print end"
    cooling = build.cooling
    likely, late = (hours(s) for s in cooling.opening_s[1:])
    after = "" if end is None else f"{hours((at - end).total_seconds()):.1f} h after the print end; "
    return f"{after}computed, not measured: below {cooling.target_c:.0f} °C after {likely:.1f} to {late:.1f} h"


def _last_reading(
    store: Store, plan: WeekPlan, build: Build, at: datetime, end: datetime | None
) -> KeptReading | None:  # fmt: skip
    """The last probe reading of the cake before it was opened; any of it when the end of the print is not noted."""
    chamber = plan.cell.chamber_type(build.chamber_type).name
    mine = [r for r in store.physics.readings(chamber) if (r.plan, r.build) == (plan.version, build.key)]
    if end is not None:
        mine = [r for r in mine if end + timedelta(seconds=r.after_s) <= at + timedelta(hours=1)]
    return max(mine, key=lambda r: r.after_s, default=None)
