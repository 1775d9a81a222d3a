"""The cell file: TOML to Cell, every problem of the file in one message; and a template to fill in."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import cast

from cakewright.errors import CellError
from cakewright.formats.cell_schema import CELL, TABLES, Key, Table
from cakewright.formats.cell_values import NotThis
from cakewright.model.cell import Cell, FinishStep, Shift
from cakewright.sources.cell import CELL_DEFAULTS
from cakewright.sources.reference import Reference

_TEMPLATE = Path(__file__).with_name("cell_template.toml")
_HEADER = re.compile(r"^\s*\[\[?\s*([\w.\-\" ]+?)\s*\]\]?")
_KEY = re.compile(r"^\s*\"?([\w\-]+)\"?\s*=")
_DEFAULT_LINE = re.compile(r"^@(\S+)$", re.MULTILINE)
LONGEST_SHOWN = 200  # of a value in a message
BASIC_SKILLS = ("start", "unpack", "finish", "inspect", "pack")


def read_cell(path: str | Path) -> Cell:
    """The cell described by a TOML file.

    Every table and key is listed in `docs/reference/cell-file.md`; units are part of the key names.
    Nothing is filled in silently except what that page calls optional. Raises CellError naming file,
    line, table and key, what was found, what was expected and what to do; all problems of the file
    come in one error.
    """
    path = Path(path)
    text = _text_of(path)
    try:
        content = tomllib.loads(text)
    except (ValueError, RecursionError) as wrong:  # also brackets without end, and numbers of thousands of digits
        raise CellError(
            f"not a TOML file: {str(wrong)[:200]}",
            remedy="mend that line; `cakewright init` writes a file to compare with",
            where=str(path),
        ) from wrong
    reading = _Reading(path, _lines_of(text))
    values = reading.cell(content)
    reading.finish()
    cell = Cell(**values, source=str(path))  # type: ignore[arg-type]
    _check_sense(cell)
    return cell


def cell_template() -> str:
    """A complete cell file to fill in: works as it is, every number says unit, status and source."""
    raw = _TEMPLATE.read_text(encoding="utf-8")
    return _DEFAULT_LINE.sub(lambda hit: _default_line(hit[1]), raw)


def _default_line(spec: str) -> str:
    """`@machine.layer_mm` becomes the key with its value and a comment; `@dye.minutes` style names end in the key."""
    reference = CELL_DEFAULTS[spec]
    key = spec.rpartition(".")[2]
    return f"{key} = {_number(reference.value)}".ljust(36) + f"# {_comment(reference)}"


def _comment(reference: Reference) -> str:
    usual = "" if reference.low is None else f" ({reference.low:g} to {reference.high:g})"
    unit = "" if reference.unit == "-" else f"{reference.unit}{usual}; "
    note = f"{reference.note}; " if reference.note else ""
    return f"{unit}{note}{reference.status}: {reference.source}"


def _number(value: float) -> str:
    return f"{value:g}"


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as wrong:
        raise CellError(
            "there is no such file", remedy="`cakewright init` writes a cell file to fill in", where=str(path)
        ) from wrong
    except UnicodeDecodeError as wrong:
        raise CellError(
            f"byte {wrong.start} is not UTF-8", remedy="save the file as UTF-8 text", where=str(path)
        ) from wrong
    except OSError as wrong:
        raise CellError(f"cannot be read: {wrong.strerror}", remedy="give the cell file", where=str(path)) from wrong


def _lines_of(text: str) -> dict[tuple[str, int, str], int]:
    """Line numbers by (table, how many-th of that name, key); key '' is the header itself."""
    found: dict[tuple[str, int, str], int] = {}
    counts: dict[str, int] = {}
    table = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = header[1].replace('"', "").replace(" ", "")
            counts[table] = counts.get(table, -1) + 1
            found[table, counts[table], ""] = number
        elif key := _KEY.match(line):
            found.setdefault((table, counts.get(table, 0), key[1]), number)
    return found


@dataclass
class _Reading:
    """One pass over a file: collects problems instead of stopping at the first."""

    path: Path
    lines: dict[tuple[str, int, str], int]
    problems: list[CellError] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)

    def cell(self, content: Mapping[str, object]) -> dict[str, object]:
        """The arguments of Cell; what could not be read is missing and noted as a problem."""
        known = [table.name for table in TABLES]
        meant: set[str] = set()
        for name in content:
            if name not in known:
                meant |= set(_close(name, known))
                where = self._where(name, 0, "") if isinstance(content[name], dict | list) else self._where("", 0, name)
                kind = "table" if isinstance(content[name], dict | list) else "key outside any table"
                self._problem(f"unknown {kind} {name!r}", _nearest(name, known), where)
        values: dict[str, object] = {}
        for table in TABLES:
            if table.many:
                values[table.field] = self._many(table, content.get(table.name, []), table.name)
            elif table.name in meant and table.name not in content:
                continue
            elif (one := self._one(table, content.get(table.name))) is not None:
                values |= one if table is CELL else {table.field: table.make(**one)}
        return values

    def finish(self) -> None:
        """Raise what was collected."""
        if len(self.problems) == 1:
            raise self.problems[0]
        if self.problems:
            listed = "".join(f"\n  {problem.text}" for problem in self.problems)
            raise CellError(
                f"{len(self.problems)} problems (`cakewright init` writes a complete file to compare with):{listed}",
                where=str(self.path),
            )

    def _one(self, table: Table, found: object) -> dict[str, object] | None:
        if found is None:
            self._problem(f"table [{table.name}] is missing", f"add it: {_example(table)}", str(self.path))
            return None
        if not isinstance(found, dict):
            self._problem(
                f"[{table.name}] is {_show(found)}",
                f"write one table [{table.name}]",
                self._where(table.name, 0, ""),
            )
            return None
        return self._entry(table, found, table.name, 0, f"[{table.name}]")

    def _many(self, table: Table, found: object, dotted: str, whose: str = "") -> tuple[object, ...]:
        if not isinstance(found, list) or any(not isinstance(item, dict) for item in found):
            self._problem(
                f"{whose}[{dotted}] is {_show(found)}",
                f"write [[{dotted}]] with two brackets, once for each",
                self._where(dotted, 0, ""),
            )
            return ()
        made = []
        for item in cast(list[dict[str, object]], found):
            nth = self.seen[dotted] = self.seen.get(dotted, -1) + 1
            who = f"{whose}{table.name} {item.get('name', nth + 1)!r}"
            values = self._entry(table, item, dotted, nth, who)
            if values is not None:
                made.append(table.make(**values))
        return tuple(made)

    def _entry(
        self, table: Table, found: Mapping[str, object], dotted: str, nth: int, who: str
    ) -> dict[str, object] | None:
        before = len(self.problems)
        inner = {t.name: t for t in table.inner}
        known = [key.name for key in table.keys] + list(inner)
        meant: set[str] = set()  # a misspelt key is one problem, not also a missing one
        for name in found:
            if name not in known:
                meant |= set(_close(name, known))
                self._problem(f"{who}: unknown key {name!r}", _nearest(name, known), self._where(dotted, nth, name))
        values: dict[str, object] = {}
        for key in table.keys:
            if key.name in found or key.name not in meant:
                self._key(key, found, values, who, (dotted, nth))
        for name, below in inner.items():
            values[below.field] = self._many(below, found.get(name, []), f"{dotted}.{name}", f"{who}, ")
        return values if len(self.problems) == before else None

    def _key(
        self, key: Key, found: Mapping[str, object], values: dict[str, object], who: str, at: tuple[str, int]
    ) -> None:
        if key.name not in found:
            if key.is_required:
                self._problem(
                    f"{who}: {key.name} is missing ({key.what})", f"add a line `{key.name} = ...`", self._where(*at, "")
                )
            else:
                values[key.field or key.name] = key.default
            return
        try:
            values[key.field or key.name] = key.read(found[key.name])
        except NotThis as wrong:
            self._problem(
                f"{who}: {key.name} is {_show(found[key.name])}, expected {wrong}",
                f"{key.name} means: {key.what}",
                self._where(*at, key.name),
            )

    def _where(self, dotted: str, nth: int, key: str) -> str:
        line = self.lines.get((dotted, nth, key)) or self.lines.get((dotted, nth, ""))
        return f"{self.path}, line {line}" if line else str(self.path)

    def _problem(self, found: str, remedy: str, where: str) -> None:
        self.problems.append(CellError(found, remedy=remedy, where=where))


def _check_sense(cell: Cell) -> None:
    """What each value alone cannot show: hours that end before they start, work nobody can do."""
    problems = [
        *_wrong_shifts(cell),
        *_wrong_weeks(cell),
        *_wrong_skills(cell),
        *_wrong_machines(cell),
        *_wrong_numbers(cell),
    ]
    if problems:
        if len(problems) == 1:
            raise CellError(problems[0][0], remedy=problems[0][1], where=cell.source)
        listed = "".join(f"\n  {what} -> {do}" for what, do in problems)
        raise CellError(f"{len(problems)} problems:{listed}", where=cell.source)


def _wrong_shifts(cell: Cell) -> list[tuple[str, str]]:
    wrong = []
    for person in cell.people:
        if not person.shifts:
            wrong.append((f"person {person.name!r} has no shift", "add [[person.shift]] below the person"))
        for shift in person.shifts:
            hours = f"person {person.name!r}: shift {shift.start:%H:%M} to {shift.end:%H:%M}"
            if shift.start >= shift.end:
                wrong.append((f"{hours} ends before it starts", "split a shift over midnight into two"))
            elif not _breaks_inside(shift):
                wrong.append((f"{hours} has a pause outside the shift or over another pause", "mend the pauses"))
    return wrong


def _wrong_weeks(cell: Cell) -> list[tuple[str, str]]:
    found: list[tuple[str, Shift | FinishStep]] = []
    found += [(f"person {person.name!r}", shift) for person in cell.people for shift in person.shifts]
    found += [(f"finish {finish.name!r}", step) for finish in cell.finishes for step in finish.steps]
    return [
        (f"{who}: every {what.every_weeks} weeks, and no first_day", "add first_day = a day in a week that counts")
        for who, what in found
        if what.every_weeks > 1 and what.first_day is None
    ]


def _breaks_inside(shift: Shift) -> bool:
    edges = [shift.start, *(t for pause in shift.breaks for t in pause), shift.end]
    return edges == sorted(edges)


def _wrong_skills(cell: Cell) -> list[tuple[str, str]]:
    needed = dict.fromkeys(("start", "unpack", "inspect", "pack"), "every build")
    needed |= {step.skill: f"finish {finish.name!r}" for finish in cell.finishes for step in finish.steps}
    held = {skill for person in cell.people for skill in person.skills}
    wrong = []
    for skill, who in needed.items():
        if skill not in held:
            wrong.append((f"nobody has the skill {skill!r}, which {who} needs", "add it to the skills of a person"))
    return wrong


def _wrong_machines(cell: Cell) -> list[tuple[str, str]]:
    return [
        (
            f"machine {machine.name!r} has no chamber of type {machine.chamber_type!r} for {machine.material!r}",
            "add a [[chamber]] of that type and material",
        )
        for machine in cell.machines
        if not cell.chambers_for(machine.material, machine.chamber_type)
    ]


def _wrong_numbers(cell: Cell) -> list[tuple[str, str]]:
    wrong = []
    for material in cell.materials:
        if material.opening_temperature_c <= cell.room_c:
            wrong.append(
                (
                    f"material {material.name!r} opens at {material.opening_temperature_c:g} °C in a room of "
                    f"{cell.room_c:g} °C: it never gets that cold",
                    "use an opening temperature above the room",
                )
            )
        if material.opening_temperature_c >= material.bed_temperature_c:
            wrong.append(
                (
                    f"material {material.name!r} opens at {material.opening_temperature_c:g} °C, printed at "
                    f"{material.bed_temperature_c:g} °C",
                    "use an opening temperature below the bed's",
                )
            )
        if material.bed_density_g_cm3 >= material.sintered_density_g_cm3:
            wrong.append(
                (
                    f"material {material.name!r}: powder ({material.bed_density_g_cm3:g} g/cm³) is not lighter "
                    f"than the part ({material.sintered_density_g_cm3:g} g/cm³)",
                    "exchange the two densities",
                )
            )
    for kind in cell.chamber_types:
        if min(kind.usable_height_mm, kind.x_mm - 2 * kind.wall_margin_mm, kind.y_mm - 2 * kind.wall_margin_mm) <= 0:
            wrong.append((f"chamber type {kind.name!r} has no room left inside its margins", "mend sizes or margins"))
    for finish in cell.finishes:
        for step in finish.steps:
            if step.staffed_min > step.minutes:
                wrong.append(
                    (
                        f"finish {finish.name!r}: {step.staffed_min} min of hands in a step of {step.minutes} min",
                        "make staffed_min at most minutes",
                    )
                )
    if cell.failures.failed > cell.failures.builds:
        wrong.append((f"{cell.failures.failed} of {cell.failures.builds} builds failed", "exchange failed and builds"))
    return wrong  # fmt: skip


def _nearest(name: str, known: list[str]) -> str:
    close = _close(name, known)
    return f"did you mean {close[0]!r}?" if close else f"known here: {', '.join(known)}"


def _close(name: str, known: list[str]) -> list[str]:
    return difflib.get_close_matches(name, known, n=1, cutoff=0.5)


def _example(table: Table) -> str:
    return f"[{table.name}] with " + ", ".join(key.name for key in table.keys if key.is_required)


def _show(value: object) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    try:
        told = repr(value)
    except ValueError:  # of thousands of digits
        return "a number of very many digits"
    return told if len(told) <= LONGEST_SHOWN else told[:LONGEST_SHOWN] + " ..."
