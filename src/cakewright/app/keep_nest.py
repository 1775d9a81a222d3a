"""Keep a nest changed by hand: pieces moved or pinned become a new plan version with hours, heat, powder and dates."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from cakewright.app.changed_build import dated, recomputed, refuse_begun, with_build
from cakewright.app.move_part import Move, MovedNest, move_parts
from cakewright.app.replan import accept
from cakewright.errors import InputError
from cakewright.model.build import Build, Placement
from cakewright.model.plan import WeekPlan
from cakewright.stopping import Stop
from cakewright.store import Store
from cakewright.store.schedule import Progress

MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class KeptNest:
    """What was kept: the new plan version, and before and after of the height (mm), print time and opening (s).

    `dates` says in a sentence what moves on the calendar.
    """

    plan: int
    build: str
    moved: tuple[str, ...]
    pinned: tuple[str, ...]
    height_mm: tuple[float, float]
    print_s: tuple[float, float]
    opening_s: tuple[float, float]
    dates: str


def keep_nest(
    store: Store,
    plan: WeekPlan,
    key: str,
    moves: Sequence[Move],
    pinned: Collection[str] | None,
    *,
    by: str,
    at: datetime,
    stop: Callable[[], Stop] | None = None,
) -> KeptNest:
    """Keep moves and pins of a build as a new plan version; the plan before stays as it was.

    `pinned` are all pieces that shall be pinned afterwards; None leaves the pins. Everything is judged again on the
    exact meshes. InputError, and nothing kept, when something is wrong, the build has begun, or nothing was changed.
    """
    build = plan.build(key)
    progress = store.schedule.progress_of(plan.version)
    found, placements = judged_moves(plan, key, moves, pinned, at=at, progress=progress)
    nest = replace(build.nest, placements=placements, height_mm=found.height_mm)
    if found.moved:
        nest = replace(nest, notes=(*nest.notes, f"moved by hand ({by}): {_some(found.moved)}"))
        changed = recomputed(plan, build, nest)
        made = dated(plan, changed, at, progress, stop)
        version, dates = accept(store, made, by=by, at=at), made.difference.headline
    else:
        changed = replace(build, nest=nest)
        version, dates = store.save_plan(with_build(plan, changed), made_by=by, at=at), "No date moves."
    return KeptNest(
        version, key, found.moved, tuple(p.piece for p in placements if p.pinned),
        (build.nest.height_mm, changed.nest.height_mm), (build.print_time.total_s, changed.print_time.total_s),
        (build.cooling.opening_s[1], changed.cooling.opening_s[1]), dates,
    )  # fmt: skip


def judged_moves(
    plan: WeekPlan, key: str, moves: Sequence[Move], pinned: Collection[str] | None, *, at: datetime,
    progress: Sequence[Progress],
) -> tuple[MovedNest, tuple[Placement, ...]]:  # fmt: skip
    """The moves judged on the exact meshes, and the placements with their pins.

    InputError when something is wrong, the build has begun, or nothing was changed.
    """
    build = plan.build(key)
    refuse_begun(plan, build, at, progress)
    found = move_parts(plan, build, moves)
    if found.wrongs:
        said = " ".join(w.words for w in found.wrongs[:MOST_NAMED])
        raise InputError(
            f"the nest cannot be kept so: {said}", remedy="move or turn the pieces, then accept", where=key
        )
    placements = with_pins(build, found.placements, pinned)
    if not found.moved and all(a.pinned == b.pinned for a, b in zip(placements, build.nest.placements, strict=True)):
        raise InputError("nothing was moved or pinned", remedy="move or pin a piece first", where=key)
    return found, placements


def with_pins(build: Build, placements: Sequence[Placement], pinned: Collection[str] | None) -> tuple[Placement, ...]:
    """The placements with exactly these pieces pinned; InputError when a name is not of the build."""
    if pinned is None:
        return tuple(placements)
    wanted = set(pinned)
    unknown = sorted(wanted - {p.piece for p in placements})
    if unknown:
        raise InputError(
            f"{build.key} has no piece {_some(unknown)}", remedy="pin pieces of this build", where="pinned"
        )
    return tuple(p if p.pinned == (p.piece in wanted) else replace(p, pinned=p.piece in wanted) for p in placements)


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else "")
