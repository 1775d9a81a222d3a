"""Before any search: can every task be done at all? The message names the resource that is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from cakewright.errors import InputError, NoCalendarError
from cakewright.model.cell import Cell, Finish, FinishStep
from cakewright.model.plan import TaskKind
from cakewright.schedule.baskets import step_minutes
from cakewright.schedule.calendars import common, person_spans, weekday_spans
from cakewright.schedule.instance import INSPECT, PACK, START, UNPACK, longest_stretches, machines_of
from cakewright.schedule.jobs import BuildJob, LineJob
from cakewright.schedule.kept import BEFORE, NOTHING_KEPT, Kept
from cakewright.schedule.trained import ended_words, with_skill
from cakewright.units import hours_minutes


def check_jobs(builds: Sequence[BuildJob], lines: Sequence[LineJob]) -> None:
    """Keys and line numbers must be unique, and lines may only name builds that are given."""
    keys = [job.key for job in builds]
    numbers = [job.line for job in lines]
    for what, names in (("build", keys), ("line", [str(n) for n in numbers])):
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise InputError(f"{what} {', '.join(twice)} is given twice", remedy="give each once")
    for line in lines:
        unknown = sorted(set(line.builds) - set(keys))
        if unknown:
            raise InputError(
                f"names build {', '.join(unknown)}, which is not among the builds",
                remedy=f"use: {', '.join(keys) or 'no builds given'}",
                where=f"line {line.line}",
            )


def check_possible(
    cell: Cell,
    builds: Sequence[BuildJob],
    lines: Sequence[LineJob],
    origin: datetime,
    horizon_min: int,
    kept: Kept = NOTHING_KEPT,
) -> None:
    """Raise NoCalendarError for the first task that can never be done, naming the limiting resource."""
    longest = longest_stretches(cell, origin, horizon_min)
    for job in builds:
        _check_build(cell, job, longest, kept)
    _check_powder(cell, builds, kept)
    _check_clean_down(cell, builds, longest)
    for line in lines:
        where = f"line {line.line}"
        _check_hands(cell, "inspecting", min(1, line.inspect_min), INSPECT, longest, where)
        _check_hands(cell, "packing", min(1, line.pack_min), PACK, longest, where)
    material_of = {job.key: job.material for job in builds}
    finishes = {(line.finish, material_of[line.builds[0]]) for line in lines if line.builds}
    for finish, material in sorted(finishes, key=lambda pair: (pair[0].name, pair[1])):
        _check_finish(cell, finish, material, longest, origin, horizon_min)


def _check_build(cell: Cell, job: BuildJob, longest: Mapping[str, int], kept: Kept) -> None:
    where = f"build {job.key}"
    begun = {kind for key, kind in kept.of_build if key == job.key and kind not in BEFORE}
    if not begun and not machines_of(cell, job):
        fit = [m.name for m in cell.machines if m.takes(job.material) and m.chamber_type == job.chamber_type]
        raise NoCalendarError(
            f"no machine can print it: {job.material} in a {job.chamber_type} chamber is run by "
            f"{', '.join(fit) or 'no machine'}, print times are given for {', '.join(job.print_min) or 'none'}"
            + (f", and it is pinned to {job.pinned_machine}" if job.pinned_machine else ""),
            remedy="add a machine, a print time, or change the pinned machine",
            where=where,
        )
    if not cell.chambers_for(job.material, job.chamber_type):
        raise NoCalendarError(
            f"there is no {job.chamber_type} chamber for {job.material}",
            remedy="add a chamber of this type dedicated to the material",
            where=where,
        )
    if not [s for s in cell.stations if s.kind == "unpack" and (not s.materials or job.material in s.materials)]:
        raise NoCalendarError(
            f"there is no unpack station for {job.material}",
            remedy="add a station of kind 'unpack' that takes the material",
            where=where,
        )
    for what, minutes, skill, kind in (
        ("loading", job.load_min, START, TaskKind.LOAD),
        ("lifting out", job.unload_min, START, TaskKind.UNLOAD),
        ("unpacking", job.unpack_min, UNPACK, TaskKind.UNPACK),
        ("cleaning the chamber", job.clean_min, UNPACK, TaskKind.CLEAN),
        ("testing its specimens", job.test_min, INSPECT, TaskKind.TEST),
    ):
        if kind not in begun:
            _check_hands(cell, what, minutes, skill, longest, where)


def _check_clean_down(cell: Cell, builds: Sequence[BuildJob], longest: Mapping[str, int]) -> None:
    """Clean-down and unpacking are one stretch: it must fit where a bench is shared by all and cannot be spared."""
    benches = [s for s in cell.stations if s.kind == "unpack"]
    if len(benches) != 1 or len({job.material for job in builds}) < 2:
        return
    for job in builds:
        minutes = benches[0].clean_down_min + job.unpack_min
        if benches[0].clean_down_min and minutes > longest.get(UNPACK, 0):
            raise NoCalendarError(
                f"cleaning {benches[0].name} and unpacking take {hours_minutes(minutes)} in one stretch, the longest "
                f"of anybody with skill {UNPACK!r} is {hours_minutes(longest.get(UNPACK, 0))}",
                remedy="lengthen a shift, move a break, or add an unpack station for one of the materials",
                where=f"build {job.key}",
            )


def _check_powder(cell: Cell, builds: Sequence[BuildJob], kept: Kept) -> None:
    for material in cell.materials:
        waiting = [j for j in builds if j.material == material.name and (j.key, TaskKind.LOAD) not in kept.of_build]
        needed = sum(job.virgin_kg for job in waiting)
        there = material.virgin_kg + sum(arrival.kg for arrival in material.arrivals)
        if needed > there + 0.001 * len(waiting):
            raise NoCalendarError(
                f"{len(waiting)} builds need {needed:.1f} kg of virgin {material.name}; stock and arrivals are "
                f"{there:.1f} kg",
                remedy="order powder and write it down as an arrival of the material, or plan fewer builds",
            )


def _check_hands(
    cell: Cell, what: str, minutes: int, skill: str, longest: Mapping[str, int], where: str
) -> None:  # fmt: skip
    if minutes == 0:
        return
    if not longest.get(skill):
        raise NoCalendarError(
            f"nobody has the skill {skill!r}, needed for {what}{ended_words(cell, skill)}",
            remedy=f"give the skill {skill!r} to a person in the cell file, or renew the training",
            where=where,
        )
    if longest[skill] < minutes:
        raise NoCalendarError(
            f"{what} takes {hours_minutes(minutes)} of hands, and the longest unbroken stretch of anybody with skill "
            f"{skill!r} is {hours_minutes(longest[skill])}{ended_words(cell, skill)}",
            remedy="lengthen a shift, move a break, or make the task shorter",
            where=where,
        )


def _check_finish(
    cell: Cell, finish: Finish, material: str, longest: Mapping[str, int], origin: datetime, horizon_min: int
) -> None:
    where = f"finish {finish.name}"
    for step in finish.steps:
        stations = [s for s in cell.stations if s.kind == step.station_kind]
        if not any(not s.materials or material in s.materials for s in stations):
            raise NoCalendarError(
                f"no {step.station_kind} station takes {material}",
                remedy=f"add a station of kind {step.station_kind!r} for the material, or choose another finish",
                where=where,
            )
        hands = step_minutes(step, 1)[0]
        _check_hands(cell, step.station_kind, hands, step.skill, longest, where)
        limited = step.weekdays or step.every_weeks > 1
        if limited and hands and not _fits_weekday(cell, step, hands, origin, horizon_min):
            raise NoCalendarError(
                f"{step.station_kind} runs on given weekdays only, and nobody with skill {step.skill!r} has "
                f"{hours_minutes(hands)} in one stretch on such a day",
                remedy="change the weekdays of the step or a shift",
                where=where,
            )


def _fits_weekday(cell: Cell, step: FinishStep, hands: int, origin: datetime, horizon_min: int) -> bool:
    days = weekday_spans(step.weekdays, cell.zone, origin, horizon_min, step.every_weeks, step.first_day)
    return any(
        end - start >= hands
        for person in with_skill(cell, step.skill, origin, horizon_min)
        for start, end in common(person_spans(person, cell.holidays, cell.zone, origin, horizon_min), days)
    )
