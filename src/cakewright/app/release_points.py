"""What a second pair of eyes looks at before a build may start: each point with what was found and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from cakewright.app.scale_in_effect import scale_words
from cakewright.app.specimen_places import asks_for_test, places_words, specimen_places
from cakewright.app.upkeep import of_build, upkeep
from cakewright.documents.verdicts import stop_reasons
from cakewright.findings import Severity
from cakewright.model.build import Build
from cakewright.model.plan import WeekPlan
from cakewright.store import Store


class Look(StrEnum):
    """What the tool says about one point of a release."""

    GOOD = "good"
    LOOK = "look at it"
    BLOCKED = "blocked"


@dataclass(frozen=True, slots=True)
class ReleasePoint:
    """One point that the second pair of eyes sees: what, what was found, what to do."""

    what: str
    state: Look
    found: str
    remedy: str = ""


def release_points(
    store: Store, plan: WeekPlan, build: Build, at: datetime | None = None
) -> tuple[ReleasePoint, ...]:  # fmt: skip
    """What a second person looks at before a build may start; `at` (default: the plan's start) is now."""
    at = at or plan.start
    newest = store.newest()
    stops = stop_reasons(build)
    points = [
        ReleasePoint(
            "the plan is the newest",
            Look.GOOD if newest == plan.version else Look.LOOK,
            f"plan {plan.version} of {newest}",
            "" if newest == plan.version else "a newer plan may have moved lines: compare before releasing",
        ),
        ReleasePoint(
            "the nest is proven",
            Look.BLOCKED if stops else Look.GOOD,
            "; ".join(stops) if stops else "distances kept and everything can be taken out",
            "plan again; this nest must not be printed" if stops else "",
        ),
        _material(plan, build),
        *_revisions(store, plan, build),
        *_scale(store, plan, build),
        _findings(plan, build),
        _specimens(plan, build),
        _promises(plan, build),
        _upkeep(store, plan, build, at),
    ]
    return tuple(points)


def part_keys(build: Build) -> set[str]:
    """The parts of a build."""
    return {p.part_key for p in build.nest.placements}


def _material(plan: WeekPlan, build: Build) -> ReleasePoint:
    machine = plan.cell.machine(build.machine)
    good = machine.material == build.material
    return ReleasePoint(
        "machine and powder agree",
        Look.GOOD if good else Look.BLOCKED,
        f"{build.machine} is kept for {machine.material}, the build is {build.material}",
        "" if good else "use a machine of that powder, or change it over first (about a day)",
    )


def _revisions(store: Store, plan: WeekPlan, build: Build) -> list[ReleasePoint]:
    """Is a newer file of the same part known in the newest plan?"""
    newest, here_too = store.newest(), {(p.name, p.revision): p.origin.sha256 for p in plan.parts.values()}
    now = here_too if newest is None or newest == plan.version else store.parts.files(newest)
    names: dict[str, set[str]] = {}
    for name, revision in now:
        names.setdefault(name, set()).add(revision)
    changed, both = [], []
    for key in sorted(part_keys(build)):
        part = plan.parts[key]
        here = now.get((part.name, part.revision))
        if here is not None and here != part.origin.sha256:
            changed.append(f"{part.name} rev {part.revision or '-'}: the file has changed since")
        newer = sorted(r for r in names.get(part.name, set()) if r > part.revision)
        if newer and (part.name, newer[-1]) in here_too:
            both.append(f"{part.name}: this build prints {part.revision or 'none'}, and {newer[-1]} is ordered as well")
        elif newer:
            changed.append(f"{part.name}: revision {newer[-1]} is known, this build prints {part.revision or 'none'}")
    if changed:
        remedy = "plan again with the revision that is wanted now; this file must not be printed"
        return [ReleasePoint("files and revisions", Look.BLOCKED, "; ".join(changed), remedy)]
    if both:
        remedy = "both are ordered in this plan: ask whether the older one is still wanted, and keep their trays apart"
        return [ReleasePoint("files and revisions", Look.LOOK, "; ".join(both), remedy)]
    hashes = len({plan.parts[k].origin.sha256 for k in part_keys(build)})
    return [ReleasePoint("files and revisions", Look.GOOD, f"{hashes} files, none replaced by a newer one")]


def _scale(store: Store, plan: WeekPlan, build: Build) -> list[ReleasePoint]:
    words = scale_words(store, plan, build)
    remedy = "fetch the machine's file from the page of the build; the one in the plan's folder is drawn as before"
    return [ReleasePoint("scale of the machine", Look.LOOK, words, remedy)] if words else []


def _findings(plan: WeekPlan, build: Build) -> ReleasePoint:
    doubts = [f for k in sorted(part_keys(build)) for f in plan.parts[k].findings if f.severity.value == "warning"]
    if not doubts:
        return ReleasePoint("doubts about parts", Look.GOOD, "no doubt")
    return ReleasePoint("doubts about parts", Look.LOOK, f"{len(doubts)}, first: {doubts[0].message}", "read them once")


def _specimens(plan: WeekPlan, build: Build) -> ReleasePoint:
    asks = [n for n in build.lines if asks_for_test(plan, n)]
    if not asks:
        return ReleasePoint("test specimens", Look.GOOD, "no class of this build asks for them")
    there = specimen_places(plan, build)
    if there:
        return ReleasePoint("test specimens", Look.GOOD, f"{len(there)} stand in it: {places_words(there)}")
    return ReleasePoint(
        "test specimens", Look.LOOK, f"line {asks[0]} asks for a test, and no specimen stands in this build: its lines "
        "will be held", "add a line with the flag 'witness' and plan again, or agree to test pieces",
    )  # fmt: skip


def _promises(plan: WeekPlan, build: Build) -> ReleasePoint:
    late = [p.line for p in plan.promises if p.line in build.lines and p.is_late]
    if late:
        return ReleasePoint("dates", Look.LOOK, f"late: {', '.join(f'L{n:02d}' for n in late)}", "the customers know?")
    return ReleasePoint("dates", Look.GOOD, "every line of it is planned to be on time")


def _upkeep(store: Store, plan: WeekPlan, build: Build, at: datetime) -> ReleasePoint:
    found = of_build(upkeep(store, plan, at), build)
    if not found:
        return ReleasePoint("upkeep of the machine", Look.GOOD, "nothing is due before this build has ended")
    over = any(f.severity is Severity.BLOCKING for f in found)
    said = "; ".join(f"{f.where}: {f.message}" for f in found)
    return ReleasePoint("upkeep of the machine", Look.BLOCKED if over else Look.LOOK, said, found[0].remedy)
