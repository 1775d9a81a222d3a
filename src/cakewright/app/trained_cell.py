"""The people of a cell with the end of their training: the planner gives nobody a task on a day after it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date

from cakewright.app.authority import SKILLS, Authority, Step, authorities
from cakewright.model.cell import Cell, Person
from cakewright.model.plan import WeekPlan
from cakewright.store import Store


def with_training(cell: Cell, store: Store) -> Cell:
    """The cell in which each skill lasts as long as the training entered for its step.

    The cell file says who is planned for a step, the training matrix narrows it: once somebody is entered for a step,
    those who are not, or whose authority was taken back, are not planned for it. Doing it twice changes nothing more.
    """
    kept = authorities(store)
    steps = {step for _, step in kept}
    skills = {skill: step for step, words in _skills_of(cell).items() for skill in words if step in steps}
    return replace(cell, people=tuple(replace(p, until=tuple(_ends(p, skills, kept))) for p in cell.people))


def as_trained(plan: WeekPlan, store: Store) -> WeekPlan:
    """A stored plan whose people are trained as the matrix says now."""
    return replace(plan, cell=with_training(plan.cell, store))


def _skills_of(cell: Cell) -> dict[Step, tuple[str, ...]]:
    """The words of the cell file for each step; what a finish asks for is finishing unless it means another step."""
    known = {skill for words in SKILLS.values() for skill in words}
    finishing = {step.skill for finish in cell.finishes for step in finish.steps} - known
    return {**SKILLS, Step.FINISH: (*SKILLS[Step.FINISH], *sorted(finishing))}


def _ends(
    person: Person, skills: Mapping[str, Step], kept: Mapping[tuple[str, Step], Authority]
) -> Iterable[tuple[str, date]]:  # fmt: skip
    for skill in person.skills:
        if skill not in skills:
            continue
        mine = kept.get((person.name.casefold(), skills[skill]))
        if mine is None or mine.is_taken:
            yield skill, date.min
        elif mine.until is not None:
            yield skill, mine.until
