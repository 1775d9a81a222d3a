"""From a machine's job log to better hours: kept, refitted, used by the next plan."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from cakewright.errors import InputError
from cakewright.findings import Finding, Severity
from cakewright.formats.joblog_csv import read_job_log
from cakewright.model.build import Build
from cakewright.model.cell import Cell, Machine
from cakewright.model.plan import WeekPlan
from cakewright.physics.timefit import TERMS, JobTimes, LoggedBuild, TimeFit, fit_times, tuned_machine
from cakewright.store import Store
from cakewright.store.physics import KeptFit, KeptLog

_NAMED = re.compile(r"(?:(?:plan[ _-]?)?0*(\d+)[ _/-])?(\S+)", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class LogTaken:
    """What a log file brought: builds kept, a fit for each machine, doubts."""

    kept: tuple[KeptLog, ...]
    fits: tuple[TimeFit, ...]
    findings: tuple[Finding, ...]


def take_log(path: str | Path, store: Store, *, cell: Cell | None, plan: int | None, by: str, at: datetime) -> LogTaken:
    """Read a job log, keep what belongs to planned builds, refit their machines and keep the fits.

    A build is named as in its file (`B2`, of `plan`, default the newest) or with its plan (`3-B2`). Rows
    of builds that no plan knows are findings, everything else is kept. `cell`: the cell file whose figures
    the factors multiply; default that of the plan. InputError when nothing in the file can be used.
    """
    if not by.strip():
        raise InputError("nobody's name is given", remedy="say who you are", where="by")
    first = store.load_plan(plan)
    plans = {first.version: first}
    jobs, findings = read_job_log(path, (cell or first.cell).zone)
    kept = []
    for job in jobs:
        try:
            owner, build = _planned(job.build, first, plans, store)
            kept.append(_kept(job, owner, build))
        except InputError as wrong:
            findings.append(
                Finding("joblog.unknown-build", Severity.WARNING, wrong.found, f"{path}: {job.build}", wrong.remedy)
            )
    if not kept:
        raise InputError(
            f"none of its {len(jobs)} builds is in a plan", remedy="name builds as their files: B2, or 3-B2 for plan 3",
            where=str(path),
        )  # fmt: skip
    store.physics.add_logs(kept, by=by, at=at, note=Path(path).name)
    machines = (cell or first.cell).machines
    fits = [refit(m, store, plans, by=by, at=at) for m in machines if m.name in {log.machine for log in kept}]
    return LogTaken(tuple(kept), tuple(fits), tuple(findings))


def teach_from_floor(
    store: Store, plan: WeekPlan, build: Build, *, started: datetime, ended: datetime, by: str, at: datetime
) -> TimeFit | None:  # fmt: skip
    """Let a print that was noted on the floor teach the hours of its machine, and keep the new fit.

    None, and nothing is kept, where a log of the machine knows the build already (it is more exact) or it was stopped.
    """
    known = {(log.plan, log.build) for log in store.physics.logs(build.machine)}
    stopped = {(s.plan, s.build) for s in store.schedule.stops()}
    if (plan.version, build.key) in known | stopped:
        return None
    job = JobTimes(build.key, (ended - started).total_seconds(), None, started, ended)
    store.physics.add_logs([_kept(job, plan, build)], by=by, at=at, note="noted on the floor")
    return refit(plan.cell.machine(build.machine), store, {plan.version: plan}, by=by, at=at)


def refit(machine: Machine, store: Store, plans: dict[int, WeekPlan], *, by: str, at: datetime) -> TimeFit:
    """Fit a machine's times to every log kept of it, and keep the result with its residuals."""
    logs = store.physics.logs(machine.name)
    builds = []
    for log in logs:
        plans.setdefault(log.plan, store.load_plan(log.plan) if log.plan not in plans else plans[log.plan])
        profile = plans[log.plan].build(log.build).profile
        times = JobTimes(f"{log.plan}-{log.build}", log.total_s, log.layer_s, log.starts, log.ends)
        builds.append(LoggedBuild(times, profile, log.extra_layers_mm))
    fit = fit_times(builds, tuned_machine(machine, (1.0, 1.0, 1.0, 1.0)))
    factors = tuple((f.value, f.low, f.high) for f in (fit.factor(term) for term in TERMS))
    store.physics.add_fit(
        KeptFit(machine.name, len(builds), factors, fit.relative_sigma, fit.residuals),
        by=by, at=at, note=_figures_text(machine),
    )  # fmt: skip
    return fit


def with_learnt_times(machine: Machine, fits: Sequence[KeptFit]) -> Machine:
    """The machine with the newest factors and spread kept of it; as it is without any.

    Factors belong to the figures of the cell file at that time. Where somebody has changed a figure since,
    its factor is changed so that the learnt time stays.
    """
    mine = [fit for fit in fits if fit.machine == machine.name]
    if not mine:
        return machine
    fit = mine[-1]
    then = _figures_from(fit.note) or _figures(machine)
    now = _figures(machine)
    factors = [f[0] * old / new if new > 0 else 1.0 for f, old, new in zip(fit.factors, then, now, strict=True)]
    return replace(tuned_machine(machine, factors), time_spread=min(fit.relative_sigma, 1.0))


def _figures(machine: Machine) -> tuple[float, float, float, float]:
    """What the four factors multiply: fixed minutes, recoat s, s per mm² hatched, s per mm of outline."""
    return (
        machine.warm_up_min + machine.end_min,
        machine.recoat_s,
        1.0 / (machine.hatch_spacing_mm * machine.hatch_speed_mm_s),
        1.0 / machine.contour_speed_mm_s,
    )


def _figures_text(machine: Machine) -> str:
    return "figures " + " ".join(f"{value:.9g}" for value in _figures(machine))


def _figures_from(note: str) -> tuple[float, ...] | None:
    words = note.split()
    return tuple(float(word) for word in words[1:]) if words[:1] == ["figures"] and len(words) == 5 else None


def _planned(name: str, first: WeekPlan, plans: dict[int, WeekPlan], store: Store) -> tuple[WeekPlan, Build]:
    """The build that a log calls `name`."""
    keys = {build.key: build for build in first.builds}
    if name in keys:
        return first, keys[name]
    named = _NAMED.fullmatch(name.strip())
    version = int(named[1]) if named and named[1] else None
    if named is None or version is None or version not in {summary.version for summary in store.plans()}:
        raise InputError(
            f"plan {first.version} has no build {name!r}", remedy=f"it has {', '.join(sorted(keys))}; or say 3-B2"
        )
    owner = plans.setdefault(version, plans.get(version) or store.load_plan(version))
    found = next((build for build in owner.builds if build.key == named[2]), None)
    if found is None:
        raise InputError(f"plan {version} has no build {named[2]!r}", remedy="look at the name of its file")
    return owner, found


def _kept(job: JobTimes, owner: WeekPlan, build: Build) -> KeptLog:
    if job.layer_s is not None and len(job.layer_s) != build.profile.layers:
        raise InputError(
            f"the log has {len(job.layer_s)} layers, the plan {build.profile.layers}",
            remedy="give part layers only, base and cover left out; a build that stopped teaches nothing here",
        )
    chamber = owner.cell.chamber_type(build.chamber_type)
    return KeptLog(
        machine=build.machine, log_name=job.build, plan=owner.version, build=build.key,
        extra_layers_mm=chamber.base_mm + chamber.cover_mm, total_s=job.total_s, layer_s=job.layer_s,
        starts=job.start, ends=job.end,
    )  # fmt: skip
