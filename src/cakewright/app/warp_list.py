"""Pieces of cakes that were opened early: to be looked at for warp before anything else is done with them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from cakewright.app.authority import Step, require
from cakewright.app.floor_note import keep
from cakewright.documents.heat_words import warp_pieces
from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.model.build import Build
from cakewright.model.floor import FloorKind, FloorRecord, Value
from cakewright.model.plan import WeekPlan
from cakewright.store import Store

WARP = "warp"  # name of the characteristic under which the look is kept


@dataclass(frozen=True, slots=True)
class WarpEntry:
    """One piece of a cake opened early; `said` is the look at it (None: still to do), `is_tall` likely to warp."""

    piece: str
    line: int
    is_likely: bool
    opened: FloorRecord
    said: FloorRecord | None

    @property
    def is_warped(self) -> bool:
        """True when somebody found it warped."""
        return self.said is not None and self.said.data["verdict"] == "warped"


def warp_list(store: Store, plan: WeekPlan, build: Build) -> tuple[WarpEntry, ...]:
    """Every piece of a build that was opened early, those likely to warp and not looked at first; else nothing."""
    opened = store.floor.records(plan=plan.version, build=build.key, kind=FloorKind.OPENED_EARLY)
    if not opened:
        return ()
    looked = {r.piece: r for r in store.floor.records(plan=plan.version, build=build.key, kind=FloorKind.IDENTIFIED)
              if r.data.get("what") == WARP}  # fmt: skip
    likely = set(warp_pieces(build))
    found = [WarpEntry(p.piece, p.line, p.piece in likely, opened[0], looked.get(p.piece))
             for p in build.nest.placements if not p.is_cage]  # fmt: skip
    return tuple(sorted(found, key=lambda e: (e.said is not None, not e.is_likely, e.piece)))


def look_at_piece(
    store: Store, plan: WeekPlan, build: Build, pieces: tuple[str, ...], verdict: str, *, by: str, at: datetime,
    uid: str = "", kept_at: datetime | None = None,
) -> tuple[FloorRecord, ...]:  # fmt: skip
    """Somebody looked at pieces of the warp list: 'flat' or 'warped'. InputError for one that is not on the list."""
    if verdict not in ("flat", "warped"):
        raise InputError(f"{verdict[:20]!r} is no verdict", remedy="flat or warped", where="verdict")
    require(store, by, Step.INSPECT, at.date())
    known = {e.piece: e for e in warp_list(store, plan, build)}
    strange = [p for p in pieces if p not in known]
    if strange or not pieces:
        raise InputError(f"{', '.join(strange[:3]) or 'no piece'} is not on the warp list of {build.key}",
                         remedy="choose pieces on the list", where="piece")  # fmt: skip
    data: dict[str, Value] = {"what": WARP, "verdict": verdict}
    return tuple(
        keep(store, plan, FloorKind.IDENTIFIED, data, by=by, at=at, build=build.key, line=known[p].line, piece=p,
             uid=f"{uid[:48]}-{n}" if uid else "", kept_at=kept_at)
        for n, p in enumerate(pieces)
    )  # fmt: skip


def warp_findings(store: Store, plan: WeekPlan) -> tuple[Finding, ...]:
    """One finding for each build with pieces on the list that nobody has looked at."""
    said = []
    for build in plan.builds:
        left = [e for e in warp_list(store, plan, build) if e.said is None]
        if left:
            first = left[0].opened
            said.append(Finding("floor.warp-list", Severity.WARNING,
                                f"opened early by {first.by}: {len(left)} pieces to look at for warp",
                                f"build {build.key}", "look at them on the page Run, before finishing"))  # fmt: skip
    return tuple(said)
